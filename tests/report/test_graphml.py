"""The map as GraphML, read back by networkx and compared with the record."""

import io

import networkx as nx
import pytest

from seqcheck.analyse.mapping.mapping import situation_map
from seqcheck.analyse.mapping.records import SituationMap
from seqcheck.model.run import StepKind
from seqcheck.report.graphml import graphml_of, writable
from seqcheck.search.engine import Limits
from seqcheck.search.symbolic.symbolic import SymbolicEngine
from tests.analyse.asking import case_of, model_of, silent
from tests.draw.test_situation_map import HOSTILE, text_of


def mapped(text: str) -> SituationMap:
    return situation_map(model_of(text), (), Limits(), silent, case_of(text, engine=SymbolicEngine()))


@pytest.mark.parametrize(
    "text",
    [
        pytest.param(text_of("separator"), id="demo"),
        pytest.param(text_of("separator_draft"), id="draft"),
        pytest.param(HOSTILE.replace("LONG", '"x\u05d0\u05d1\U0001f600"'), id="hostile"),
    ],
)
def test_what_is_read_back_is_what_was_found(text: str) -> None:
    full = mapped(text)
    graph = nx.read_graphml(io.BytesIO(graphml_of(full).encode()), force_multigraph=False)
    assert graph.is_directed()
    assert graph.number_of_nodes() == len(full.situations) + len(full.unreached)
    assert graph.number_of_edges() == len(full.passages)
    for number, situation in enumerate(full.situations):
        node = graph.nodes[f"s{number}"]
        values = zip(full.axes, situation.values, strict=True)
        assert node["label"] == "; ".join(f"{axis.name} = {value}" for axis, value in values)
        assert node["states"] == situation.states
        assert (node["start"], node["starts"]) == (bool(situation.starts), situation.starts)
        assert node["reachable"] is True
        assert (node.get("hazards") or "") == "; ".join(f"{one.id}: {one.states}" for one in situation.hazards)
    for number, one in enumerate(full.unreached):
        node = graph.nodes[f"n{number}"]
        assert (node["states"], node["reachable"], node["hazards"]) == (0, False, "; ".join(one.hazards))
    for passage in full.passages:
        edge = graph.edges[f"s{passage.tail}", f"s{passage.head}"]
        assert edge["transitions"] == "; ".join(str(one.transitions) for one in passage.taken)
        steps = [one.name if one.to is None else f"{one.name} := {one.to}" for one in passage.taken]
        assert edge["steps"] == "; ".join(step or "time" for step in steps)
        assert set(edge["kind"].split("; ")) == {one.kind.value for one in passage.taken} <= {kind.value for kind in StepKind}
    path = full.bad.path if full.bad is not None else ()
    assert all(str(place) in graph.nodes[f"s{number}"]["bad_run"].split("; ") for place, number in enumerate(path, 1))


def test_counts_beyond_64_bits_are_kept() -> None:
    parts = "".join(f"  p{n}: {{range: 0..255, starts: any}}\n" for n in range(9))
    full = mapped(f"machine: M\nparts:\n{parts}hazards:\n  H1: {{must not be: p0 > 100 AND p1 > 100}}\n")
    graph = nx.read_graphml(io.BytesIO(graphml_of(full).encode()))
    assert sum(int(data["states"]) for _, data in graph.nodes(data=True)) == full.states == 256**9


def test_what_xml_cannot_hold_is_made_visible() -> None:
    assert writable("a\x00\x1b\ud800\uffff\nb<&") == "a\u2400\u241b\ufffd\ufffd\u240ab<&"
