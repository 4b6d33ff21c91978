"""The committed sequences: each permissive, clause and trip is taken out in turn, and must come to what the audit said of it.

Each additional permissive that the audit of a draft offers is written into the file, which is then read and verified anew.
"""

import re
from collections.abc import Iterable, Iterator
from functools import cache

import pytest

from seqcheck.analyse.auditing.mends import Mended, Violated, mends, violated
from seqcheck.analyse.auditing.parts import Part
from seqcheck.analyse.auditing.purposes import Need, Purposes, purposes
from seqcheck.analyse.auditing.removing import Removing
from seqcheck.analyse.record import record
from seqcheck.analyse.verdict import Verdict
from seqcheck.analyse.verify import verify_case
from seqcheck.check.machine import Machine
from seqcheck.cli.audit import without
from seqcheck.compile.compile import compile_machine, compile_observed
from seqcheck.model.model import Hazard, Model
from seqcheck.report.audit_text import purpose_words
from seqcheck.search.engine import Limits, Trace
from seqcheck.search.engines import engine
from seqcheck.search.symbolic.deciding import decide
from tests.outside.reading import machine_of
from tests.sequences.verifying import SEQUENCES

NAMES = sorted(path.stem for path in SEQUENCES.glob("*.yaml"))
DRAFTS = [name for name in NAMES if name.endswith("_draft")]
LARGE = {"separator": 24, "separator_draft": 42, "burner_draft": 8}
"""Machines that take the plain engine too long to be asked for every part: it is asked for one in so many."""

SAMPLED = {"separator_draft": 4, "separator": 2, "burner_draft": 2}
"""Of the parts of these machines one in so many is taken out."""


def silent(_progress: object) -> None:
    """Take no note."""


def removing() -> Removing:
    return Removing(limits=Limits, observer=silent, engine=engine("symbolic"))


@cache
def read(name: str) -> Machine:
    return machine_of((SEQUENCES / f"{name}.yaml").read_text(encoding="utf-8"))


@cache
def audited(name: str) -> Purposes:
    machine = read(name)
    return purposes(compile_machine(machine), lambda id_: compile_observed(machine, id_), removing())


def verified(machine: Machine, told: Iterable[Need], *, plainly: bool) -> dict[str, int | None]:
    """Return what a machine violates, with the steps of its run, if not *plainly* of those only that were told of."""
    model = compile_machine(machine)
    if not plainly:
        found = decide(model, Limits(), silent, [need.id for need in told if need.run is not None])
        return {id_: steps(model, found.traces[id_]) if id_ in found.traces else None for id_ in found.ids}
    case = verify_case(model, engine("plain"), Limits(), silent, lambda id_: compile_observed(machine, id_))
    return {r.id: None if r.run is None else r.run.step_count for r in case.results if r.verdict is Verdict.VIOLATED}


def steps(model: Model, trace: Trace) -> int:
    return record(model, trace)[0].step_count


def agrees(told: tuple[Need, ...], found: dict[str, int | None], already: set[str]) -> bool:
    """Compare what was told with what was found, and the number of steps."""
    due = {id_: steps for id_, steps in found.items() if id_ not in already}
    return {need.id: None if need.run is None else need.run.step_count for need in told} == due


def said_of(words: str) -> set[str]:
    """Return the ids that the words on one part name as violated without it."""
    return set(re.findall(r"\b[HR]\d+\b", words)) if words.startswith("without it") else set()


@pytest.mark.parametrize("name", NAMES)
def test_each_part_taken_out_comes_to_what_the_audit_says(name: str) -> None:
    machine, told = read(name), audited(name)
    already = {need.id for need in told.already}
    assert told.alone_known
    assert told.pairs_known
    for place, purpose in list(enumerate(told.purposes))[:: SAMPLED.get(name, 1)]:
        found = verified(without(machine, [purpose.part]), purpose.needs, plainly=place % LARGE.get(name, 1) == 0)
        assert agrees(purpose.needs, found, already), purpose.part
        words = purpose_words(purpose, told)
        assert said_of(words) == found.keys() - already, words
        assert words.startswith("nothing") == (not found.keys() - already), words


@pytest.mark.parametrize("name", NAMES)
def test_each_pair_that_covers_each_other_comes_to_what_the_audit_says(name: str) -> None:
    machine, told = read(name), audited(name)
    already = {need.id for need in told.already}
    for missing, needs in pairs(told).items():
        assert agrees(tuple(needs), verified(without(machine, tuple(missing)), needs, plainly=name not in LARGE), already)


def pairs(told: Purposes) -> dict[frozenset[Part], list[Need]]:
    found: dict[frozenset[Part], list[Need]] = {}
    for purpose in told.purposes:
        for cover in purpose.covers:
            needs = found.setdefault(frozenset({purpose.part, cover.other}), [])
            needs += [cover.need] if all(need.id != cover.need.id for need in needs) else []
    return found


@pytest.mark.parametrize("name", NAMES)
def test_what_never_decides_can_go_without_any_difference(name: str) -> None:
    machine, told = read(name), audited(name)
    states = reached(machine)
    for purpose in told.purposes:
        if not purpose.decisive:
            assert not purpose.needs
            assert reached(without(machine, [purpose.part])) == states


def reached(machine: Machine) -> int:
    return engine("symbolic").explore(compile_machine(machine), (), Limits(), silent).states


def offered(name: str) -> Iterator[Mended]:
    machine, told = read(name), audited(name)
    model = compile_machine(machine)
    hazards = {p.id for p in model.properties if isinstance(p.rule, Hazard)}
    runs = {need.id: need.run for need in told.already if need.run is not None and need.id in hazards}
    known = Violated(ids=frozenset(need.id for need in told.already), hazards=runs)
    assert violated(model, removing()).ids == known.ids
    yield from mends(model, known, removing())


@pytest.mark.parametrize("name", DRAFTS)
def test_each_offer_written_into_the_file_keeps_the_hazard_away(name: str) -> None:
    text = (SEQUENCES / f"{name}.yaml").read_text(encoding="utf-8")
    before = {need.id for need in audited(name).already}
    met = list(offered(name))
    assert [one.id for one in met] == [id_ for id_ in (p.id for p in read(name).hazards) if id_ in before]
    for one in met:
        for offer in one.offers:
            mended = machine_of(asked_in_addition(text, offer.command, offer.condition))
            after = verified(mended, (), plainly=name not in LARGE).keys()
            assert one.id not in after
            assert before - after >= {one.id, *offer.also}
            assert after - before == set(offer.broken)


def asked_in_addition(text: str, command: str, condition: str) -> str:
    """Return a sequence's text in which a command has one more permissive."""
    lines = text.splitlines()
    begin = lines.index("commands:")
    place = lines.index(f"  {command}:", begin)
    assert lines[place + 1] == "    permissives:", lines[place + 1]
    lines.insert(place + 2, f'      asked in addition: "{condition}"')
    return "\n".join(lines) + "\n"


def test_some_hazards_of_a_draft_have_an_offer_and_some_have_none() -> None:
    met = list(offered("lift_gate_draft"))
    assert {one.id for one in met if one.offers} == {"H1"}
    assert {one.id for one in met if not one.offers} == {"H3", "H4"}
