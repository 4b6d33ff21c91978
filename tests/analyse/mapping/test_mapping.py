"""The map of reachable situations against a listing of all states, and on the committed sequences."""

from functools import cache
from itertools import pairwise
from math import prod
from pathlib import Path

import pytest
from hypothesis import HealthCheck, assume, event, given, settings
from hypothesis import strategies as st
from msgspec.structs import replace

from seqcheck.analyse.mapping.axes import UnknownNameError
from seqcheck.analyse.mapping.condensing import condensed
from seqcheck.analyse.mapping.following import states_of
from seqcheck.analyse.mapping.mapping import TooFineError, shortest_bad, situation_map
from seqcheck.analyse.mapping.records import SituationMap
from seqcheck.analyse.verdict import Case
from seqcheck.model.model import Model
from seqcheck.search.engine import Limits, Stop
from seqcheck.search.symbolic.symbolic import SymbolicEngine
from tests.analyse.asking import case_of, model_of, silent
from tests.analyse.mapping import plainly
from tests.benchmarks.cells import cells
from tests.effort import examples
from tests.outside.independent import grown
from tests.outside.machines import machines

SEQUENCES = Path(__file__).parents[3] / "sequences"
RELAXED = settings(max_examples=examples(30), deadline=None, suppress_health_check=list(HealthCheck))
MOST_STATES, MOST_IN_ALL = 300, 8_000


def mapped(model: Model, *by: str, limits: Limits | None = None) -> SituationMap:
    return situation_map(model, by, limits or Limits(), silent)


@cache
def verified(name: str) -> Case:
    return case_of(text_of(name), engine=SymbolicEngine())


@cache
def drawn_from(name: str, by: tuple[str, ...] = ()) -> SituationMap:
    return situation_map(model_of(text_of(name)), by, Limits(), silent, verified(name))


def text_of(name: str) -> str:
    return (SEQUENCES / f"{name}.yaml").read_text(encoding="utf-8")


def compare(told: SituationMap, plain: plainly.Plain) -> None:
    situations = {one.values: one for one in told.situations}
    assert {values: one.states for values, one in situations.items()} == plain.states
    assert {values: one.starts for values, one in situations.items() if one.starts} == plain.starts
    assert {values: one.failing for values, one in situations.items() if one.failing} == plain.failing
    assert {values: one.inside for values, one in situations.items() if one.inside} == plain.inside
    met = {values: {one.id: one.states for one in situation.hazards} for values, situation in situations.items()}
    assert met == {values: dict(plain.met[values]) for values in plain.states}
    passages = {
        (told.situations[one.tail].values, told.situations[one.head].values): {
            (each.kind, each.name, each.to): each.transitions for each in one.taken
        }
        for one in told.passages
    }
    assert passages == plain.passages
    assert told.states == sum(plain.states.values())
    assert told.transitions == sum(plain.inside.values()) + sum(sum(each.values()) for each in plain.passages.values())


@RELAXED
@given(text=machines(), data=st.data())
def test_random_machines_sorted_by_hand(text: str, data: st.DataObject) -> None:
    model = model_of(text)
    graph = grown(model, MOST_STATES)
    assume(graph is not None and graph.starts)
    assert graph is not None
    by = data.draw(st.lists(st.sampled_from(plainly.names(model)), min_size=1, max_size=4, unique=True))
    told, plain = mapped(model, *by), plainly.plain_map(graph, by)
    compare(told, plain)
    event(f"situations: {min(9, len(told.situations))}")
    if prod(v.highest - v.lowest + 1 for v in model.variables) <= MOST_IN_ALL:
        plainly.everything(model, by, plain)
        assert told.possible == plain.possible
        assert {one.id for one in told.hazards if one.told} == plain.told
        assert {one.values: one.hazards for one in told.unreached} == plain.unreached
        event(f"not reached, with a hazard: {min(3, len(told.unreached))}")


@settings(RELAXED, max_examples=examples(20))
@given(text=machines())
def test_the_bad_run_of_random_machines_follows_the_arrows(text: str) -> None:
    case = case_of(text)
    told = situation_map(model_of(text), (), Limits(), silent, case)
    worst = shortest_bad(case)
    assert (told.bad is None) == (worst is None)
    if told.bad is not None and worst is not None and worst.run is not None and told.bad.path:
        follows_the_arrows(told)
        last = told.situations[told.bad.path[-1]]
        if worst.kind == "hazard":
            assert told.bad.id in {one.id for one in last.hazards}
        event(f"situations on the way: {len(told.bad.path)}")


def follows_the_arrows(told: SituationMap) -> None:
    assert told.bad is not None
    path = told.bad.path
    assert told.situations[path[0]].starts
    arrows = {(one.tail, one.head) for one in told.passages}
    assert all(hop in arrows for hop in pairwise(path))


@pytest.mark.parametrize("name", sorted(path.stem for path in SEQUENCES.glob("*.yaml")))
def test_a_map_is_chosen_that_can_be_read(name: str) -> None:
    case, told = verified(name), drawn_from(name)
    assert 5 <= len(told.situations) <= 9
    assert 1 <= len(told.axes) <= 4
    assert told.states == case.states
    assert told.transitions == case.transitions
    assert told.why.startswith("chosen because")
    assert {one.id for one in told.hazards if one.states} == {
        one.id for one in case.results if one.kind == "hazard" and one.verdict.value == "violated"
    }
    assert (told.bad is not None) == name.endswith("_draft")
    if told.bad is not None:
        assert len(told.bad.path) > 1
        follows_the_arrows(told)
        assert told.bad.id in {one.id for one in told.situations[told.bad.path[-1]].hazards}
    assert name.endswith("_draft") or any(one.told for one in told.hazards)


def test_the_demo_says_where_the_cover_is_never_open() -> None:
    told = mapped(model_of(text_of("separator")), "ROTOR", "cover", "rotor")
    assert [axis.name for axis in told.axes] == ["rotor", "cover"]
    assert {one.values: one.hazards for one in told.unreached} == {
        ("slow", "open"): ("H1",),
        ("working_speed", "open"): ("H1",),
    }
    assert [one.id for one in told.hazards if one.told] == ["H1"]


def test_large_machines_are_not_listed() -> None:
    told = mapped(model_of(cells(2)), "cover1", "speed1", "cover2", "speed2", "mode")
    assert told.states == 20_280_240
    assert told.transitions == 198_579_792
    assert told.axes[1].values == ("0", "1..7")
    assert all("open_turning1" in one.hazards for one in told.unreached if one.values[:2] == ("open", "1..7"))


def test_numbers_come_in_bands_where_conditions_tell_them_apart() -> None:
    text = "machine: M\nparts:\n  level: {range: -5..20}\n  other: {range: 0..40}\n  few: {range: 0..5}\n"
    text += "plant:\n  rises: {when: level < 12, then: {level: level + 1}}\n"
    text += "hazards:\n  H1: {must not be: level >= 7 OR 3 > level}\n"
    told = mapped(model_of(text), "level", "other", "few")
    values = {axis.name: axis.values for axis in told.axes}
    assert values["level"] == ("-5..2", "3..6", "7..11", "12..20")
    assert len(values["other"]) == 4
    assert values["few"] == ("0", "1", "2", "3", "4", "5")


def test_a_fault_under_study_can_be_an_axis() -> None:
    text = text_of("separator")
    model = model_of(text, "drive contactor welded")
    told = mapped(model, "occurred: drive contactor welded", "rotor_drive")
    assert {one.values[0] for one in told.situations} == {"not yet", "has occurred"}
    assert told.faults == ("drive contactor welded",)


def test_what_the_file_does_not_have_is_refused_with_a_near_name() -> None:
    with pytest.raises(UnknownNameError) as refused:
        mapped(model_of(text_of("separator")), "mode", "covr")
    assert (refused.value.name, refused.value.near) == ("covr", "cover")
    assert "stood_still.Q" in refused.value.known


def test_too_many_combinations_are_refused() -> None:
    model = model_of(text_of("separator"))
    with pytest.raises(TooFineError) as refused:
        mapped(model, *plainly.names(model)[:14])
    assert refused.value.places > 20_000


def test_a_limit_says_what_was_covered() -> None:
    model = model_of(text_of("separator_draft"))
    whole = mapped(model, "rotor", "cover")
    part = mapped(model, "rotor", "cover", limits=Limits(states=3_000))
    assert part.stopped is Stop.STATES
    assert 0 < part.states < whole.states
    assert part.states == sum(one.states for one in part.situations)
    known = {one.values: one.states for one in whole.situations}
    assert all(one.states <= known[one.values] for one in part.situations)
    nothing = mapped(model, limits=Limits(seconds=0))
    assert (nothing.stopped, nothing.situations) == (Stop.SECONDS, ())


def test_waiting_in_one_go_passes_the_same_situations() -> None:
    text = text_of("separator_draft").replace("tick: 5 s", "tick: 500 ms")
    model = model_of(text)
    by = ("rotor", "oil", "rotor_drive")
    case = case_of(text, engine=SymbolicEngine())
    for result in case.results[:3]:
        if result.run is not None and result.run.tick_count:
            paths = [
                [plainly.values_of(model, by, state) for state in states_of(model, result.run, every_tick=every_tick)]
                for every_tick in (False, True)
            ]
            short, whole = ([v for n, v in enumerate(path) if not n or path[n - 1] != v] for path in paths)
            assert short == whole


@pytest.mark.parametrize("most", [40, 20, 12, 3])
@pytest.mark.parametrize("by", [(), ("mode", "rotor", "cover", "main_switch", "oil", "drum")])
def test_nothing_is_lost_where_situations_are_merged(most: int, by: tuple[str, ...]) -> None:
    full = drawn_from("separator_draft", by)
    small = condensed(full, most)
    assert len(small.spots) + len(small.never) <= max(most, len(small.never) + 1)
    assert sorted(number for spot in small.spots for number in spot.situations) == list(range(len(full.situations)))
    assert sum(spot.states for spot in small.spots) == full.states
    for hazard in full.hazards:
        assert sum(met.states for spot in small.spots for met in spot.hazards if met.id == hazard.id) == hazard.states
    assert sum(one.combinations for one in small.never) == len(full.unreached)
    crossing = sum(each.transitions for way in small.ways for each in way.taken)
    node_of = {number: node for node, spot in enumerate(small.spots) for number in spot.situations}
    apart = (one for one in full.passages if node_of[one.tail] != node_of[one.head])
    assert crossing == sum(each.transitions for one in apart for each in one.taken)
    assert all(any(way.tail == a and way.head == b and way.on_bad_run for way in small.ways)
               for a, b in pairwise(small.path))  # fmt: skip


def test_what_tells_least_is_merged_first() -> None:
    full = drawn_from("separator_draft", ("rotor", "cover", "oil"))
    telling = [
        n for n, one in enumerate(full.situations) if one.hazards or one.starts or n in (full.bad.path if full.bad else ())
    ]
    small = condensed(replace(full, unreached=()), len(telling) + 1)
    alone = {spot.situations[0] for spot in small.spots if len(spot.situations) == 1}
    assert alone >= set(telling)
