"""Writes the map of reachable situations as GraphML (Brandes, Eiglsperger, Lerner: GraphML Primer), for other programs.

All situations are written, none is merged. What XML cannot hold, control characters, is written as its visible sign.
"""

from collections.abc import Iterator
from xml.etree import ElementTree as ET

from msgspec import Struct

from seqcheck.analyse.mapping.records import Passage, Situation, SituationMap, Taken
from seqcheck.model.run import StepKind

NAMESPACE = "http://graphml.graphdrawing.org/xmlns"
SEPARATOR = "; "


class Key(Struct, frozen=True, kw_only=True):
    """An attribute of nodes or edges."""

    name: str
    of: str
    type: str


KEYS = (
    Key(name="label", of="node", type="string"),
    Key(name="states", of="node", type="long"),
    Key(name="starts", of="node", type="long"),
    Key(name="start", of="node", type="boolean"),
    Key(name="reachable", of="node", type="boolean"),
    Key(name="hazards", of="node", type="string"),
    Key(name="failing", of="node", type="long"),
    Key(name="bad_run", of="node", type="string"),
    Key(name="steps", of="edge", type="string"),
    Key(name="kind", of="edge", type="string"),
    Key(name="transitions", of="edge", type="string"),
    Key(name="by", of="graph", type="string"),
    Key(name="search", of="graph", type="string"),
)
"""*hazards* lists `ID: states that meet it`; of a node that is not reachable, the ids of those that would be met. *bad_run* are
the places that the node has in the shortest bad run, from 1. Counts beyond 64 bits make them strings.
"""

MOST_LONG = (1 << 63) - 1


def graphml_of(full: SituationMap) -> str:
    """Return a map as GraphML."""
    root = ET.Element("graphml", xmlns=NAMESPACE)
    for number, key in enumerate(KEYS):
        ET.SubElement(root, "key", {"id": f"d{number}", "for": key.of, "attr.name": key.name, "attr.type": _type(key, full)})
    graph = ET.SubElement(root, "graph", id="situations", edgedefault="directed")
    _add(graph, "by", SEPARATOR.join(axis.name for axis in full.axes))
    _add(graph, "search", "complete" if full.stopped is None else f"ended at {full.stopped.value}")
    for number, situation in enumerate(full.situations):
        _add_situation(graph, full, number, situation)
    for number, one in enumerate(full.unreached):
        node = ET.SubElement(graph, "node", id=f"n{number}")
        _add(node, "label", SEPARATOR.join(_values(full, one.values)))
        _add(node, "states", "0")
        _add(node, "reachable", "false")
        _add(node, "hazards", SEPARATOR.join(one.hazards))
    for passage in full.passages:
        _add_passage(graph, passage)
    ET.indent(root)
    return f'<?xml version="1.0" encoding="UTF-8"?>\n{ET.tostring(root, encoding="unicode")}\n'


def _type(key: Key, full: SituationMap) -> str:
    return "string" if key.type == "long" and full.states > MOST_LONG else key.type


def _add_situation(graph: ET.Element, full: SituationMap, number: int, situation: Situation) -> None:
    node = ET.SubElement(graph, "node", id=f"s{number}")
    path = full.bad.path if full.bad is not None else ()
    _add(node, "label", SEPARATOR.join(_values(full, situation.values)))
    _add(node, "states", str(situation.states))
    _add(node, "starts", str(situation.starts))
    _add(node, "start", "true" if situation.starts else "false")
    _add(node, "reachable", "true")
    _add(node, "hazards", SEPARATOR.join(f"{one.id}: {one.states}" for one in situation.hazards))
    _add(node, "failing", str(situation.failing))
    _add(node, "bad_run", SEPARATOR.join(str(place) for place, one in enumerate(path, 1) if one == number))


def _add_passage(graph: ET.Element, passage: Passage) -> None:
    edge = ET.SubElement(graph, "edge", source=f"s{passage.tail}", target=f"s{passage.head}")
    kinds = [kind.value for kind in StepKind if any(one.kind is kind for one in passage.taken)]
    _add(edge, "steps", SEPARATOR.join(_named(one) for one in passage.taken))
    _add(edge, "kind", SEPARATOR.join(kinds))
    _add(edge, "transitions", SEPARATOR.join(str(one.transitions) for one in passage.taken))


def _values(full: SituationMap, values: tuple[str, ...]) -> Iterator[str]:
    for axis, value in zip(full.axes, values, strict=True):
        yield f"{axis.name} = {value}"


def _named(one: Taken) -> str:
    if one.kind is StepKind.WAIT:
        return "time"
    return one.name if one.to is None else f"{one.name} := {one.to}"


def _add(element: ET.Element, name: str, text: str) -> None:
    number = next(n for n, key in enumerate(KEYS) if key.name == name)
    ET.SubElement(element, "data", key=f"d{number}").text = writable(text)


def writable(text: str) -> str:
    """Return a text without what XML 1.0 cannot hold (Extensible Markup Language 1.0, section 2.2)."""
    return "".join(_written(character) for character in text)


def _written(character: str) -> str:
    code = ord(character)
    if code < 0x20:
        return chr(0x2400 + code)
    return "\ufffd" if 0xD800 <= code <= 0xDFFF or code in {0xFFFE, 0xFFFF} else character
