"""A search that was stopped anywhere and is taken up again answers as one that was left alone."""

import pickle
import signal
from collections.abc import Mapping
from itertools import count
from pathlib import Path

import pytest
from msgspec.structs import replace

from seqcheck.model.model import Model
from seqcheck.search.engine import Exploration, Extras, Limits, Listed, Progress, Snapshot, Stop
from seqcheck.search.packed import packed, remembering, visited, visitor
from seqcheck.search.packed.lookout import Lookout
from seqcheck.search.packed.packed import PackedEngine
from seqcheck.search.packed.rolls import Exhausted
from tests.analyse.asking import model_of, silent
from tests.cli.calling import counters
from tests.search.packed.comparing import answers
from tests.search.packed.test_against_plain import conditions
from tests.search.test_plain import ONLY, ORDER, TICK_OVERTAKES, WAIT_OR_ACT

CASES = Path(__file__).parents[1] / "cases"


class Memory:
    """A keeper that keeps the parts of every snapshot; *due_after* times asked, one is due."""

    def __init__(self, due_after: int = 10**9, parts: Mapping[str, bytes] | None = None) -> None:
        self.all: list[dict[str, bytes]] = [] if parts is None else [dict(parts)]
        self._due_after = due_after
        self._asked = 0

    def due(self) -> bool:
        self._asked += 1
        return self._asked % self._due_after == 0

    def save(self, snapshot: Snapshot) -> None:
        assert snapshot.engine == "packed"
        self.all.append(dict(snapshot.parts))

    def kept(self, engine: str) -> Snapshot | None:
        return Snapshot(engine=engine, parts=self.all[-1]) if self.all else None


def explore(model: Model, limits: Limits, keeper: Memory | None = None, threads: int = 2) -> Exploration:
    return PackedEngine(threads).explore(model, conditions(model), limits, silent, Extras(keeper=keeper, evidence=True))


def machines() -> Mapping[str, Model]:
    texts = {"waiting": WAIT_OR_ACT, "overtakes": TICK_OVERTAKES, "order": ORDER, "only": ONLY, "counters": counters(3, 6)}
    texts |= {path.stem: path.read_text(encoding="utf-8") for path in sorted(CASES.glob("*.yaml"))}
    return {name: model_of(text) for name, text in texts.items()}


MACHINES = machines()


def same(model: Model, one: Exploration, other: Exploration) -> None:
    """Compare all answers; of evidence the sets."""
    assert answers(model, one) == answers(model, other)
    assert one.complete_steps == other.complete_steps
    assert listed(one) == listed(other)


def listed(found: Exploration) -> object:
    """Return the evidence without its order: each state with its ranks."""
    if found.evidence is None:
        return None
    assert isinstance(found.evidence, Listed)
    ranks = found.evidence.ranks.values()
    return {state: tuple(of_states[place] for of_states in ranks) for place, state in enumerate(found.evidence.states)}


@pytest.fixture(params=["with a pilot", "without"])
def pilot(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    """Let a pilot search come before, or not; blocks are the smallest there are."""
    monkeypatch.setattr(visitor, "MOST_SOURCES", 1)
    monkeypatch.setattr(packed, "PILOT_STATES", 5 if request.param == "with a pilot" else 1 << 15)


def stops(name: str) -> int:
    """Return how often a search is stopped: seldom where each settling takes thousands of rounds."""
    return 2 if name == "endless" else 12


@pytest.mark.usefixtures("pilot")
@pytest.mark.parametrize("name", MACHINES)
def test_stopping_anywhere_changes_nothing(name: str) -> None:
    model = MACHINES[name]
    whole = explore(model, Limits())
    step = max(3, whole.states // stops(name))
    keeper, most, calls = Memory(), step, 1
    while (found := explore(model, Limits(states=most), keeper)).stopped is not None:
        assert found.stopped is Stop.STATES
        most, calls = max(most, found.states) + step, calls + 1
    assert calls > 1 or whole.states <= step
    same(model, found, whole)


@pytest.mark.usefixtures("pilot")
@pytest.mark.parametrize("name", ["overtakes", "timers", "intervals", "endless", "stuck", "starts", "drawn_07", "counters"])
def test_any_snapshot_on_the_way_leads_to_the_same(name: str) -> None:
    """As after a kill: nothing is known of what came after the snapshot."""
    model = MACHINES[name]
    keeper = Memory(due_after=1)
    whole = explore(model, Limits(), keeper)
    same(model, whole, explore(model, Limits()))
    assert keeper.all
    for parts in keeper.all[:: len(keeper.all) // stops(name) + 1]:
        again = explore(model, Limits(), Memory(parts=parts))
        same(model, again, whole)
        assert again.found == whole.found, "the same pieces in the same order: the same traces"


@pytest.mark.parametrize("nth", [3, 5, 8, 12])
@pytest.mark.parametrize("stop", [Stop.MEMORY, Stop.SECONDS])
def test_no_room_for_a_list_or_table_leaves_a_search_that_can_be_taken_up(
    nth: int, stop: Stop, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It is taken up where it was before the piece that found no room."""
    monkeypatch.setattr(packed, "PILOT_STATES", 10)
    monkeypatch.setattr(visited, "FIRST_SLOTS", 8)
    monkeypatch.setattr(visited, "GROWTH_SMALL", 2)
    model, keeper, asked = model_of(counters(4, 9)), Memory(), count()
    whole = explore(model, Limits())
    reserve = Lookout.reserve

    def scarce(lookout: Lookout, wanted_bytes: int) -> None:
        if wanted_bytes > 0 and lookout.pilot_states is None and next(asked) == nth:
            raise Exhausted(stop)
        reserve(lookout, wanted_bytes)

    with monkeypatch.context() as patched:
        patched.setattr(Lookout, "reserve", scarce)
        cut = explore(model, Limits(), keeper)
    assert cut.stopped is stop
    assert 0 < cut.states < whole.states
    same(model, explore(model, Limits(), keeper), whole)


def test_an_interruption_leaves_a_search_that_can_be_taken_up(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(packed, "PILOT_STATES", 10)
    model, keeper = MACHINES["counters"], Memory()

    def press(progress: Progress) -> None:
        if progress.states > 100:
            signal.raise_signal(signal.SIGINT)

    cut = PackedEngine().explore(model, (), Limits(), press, Extras(keeper=keeper))
    assert cut.stopped is Stop.INTERRUPTED
    assert cut.states < 343
    whole = PackedEngine().explore(model, (), Limits(), silent)
    found = PackedEngine().explore(model, (), Limits(), silent, Extras(keeper=keeper))
    assert answers(model, found) == answers(model, whole)


def test_what_a_torn_search_knows_is_not_kept() -> None:
    """A second Ctrl-C comes at any moment: what was kept before stays."""
    model, keeper = model_of(counters(5, 9)), Memory(due_after=3)

    def tear(progress: Progress) -> None:
        if progress.states > 40000:
            raise KeyboardInterrupt

    cut = PackedEngine().explore(model, (), Limits(), tear, Extras(keeper=keeper))
    assert cut.stopped is Stop.INTERRUPTED
    saved = len(keeper.all)
    assert saved > 0
    found = PackedEngine().explore(model, (), Limits(), silent, Extras(keeper=keeper))
    assert found.states == 10**5


def test_a_limit_while_a_snapshot_is_read_leaves_the_snapshot() -> None:
    model, keeper = MACHINES["counters"], Memory()
    explore(model, Limits(states=200), keeper)
    assert len(keeper.all) == 1
    cut = explore(model, Limits(seconds=0), keeper)
    assert (cut.stopped, cut.states, cut.complete_steps) == (Stop.SECONDS, 0, -1)
    assert len(keeper.all) == 1
    same(model, explore(model, Limits(), keeper), explore(model, Limits()))


def test_parts_are_small(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(remembering, "PIECE", 100)
    model, keeper = MACHINES["counters"], Memory()
    explore(model, Limits(states=300), keeper)
    sizes = {name: len(part) for name, part in keeper.all[0].items() if name.startswith(("order", "seeds"))}
    assert len(sizes) >= 3
    assert max(sizes.values()) <= 100 * 8
    same(model, explore(model, Limits(), keeper), explore(model, Limits()))


def test_a_snapshot_of_another_form_is_not_read() -> None:
    model, keeper = MACHINES["counters"], Memory()
    explore(model, Limits(states=100), keeper)
    keeper.all[0]["search"] = keeper.all[0]["search"].replace(b'"form": 1', b'"form": 0')
    with pytest.raises(ValueError, match="a snapshot of form 0"):
        explore(model, Limits(), keeper)


def test_evidence_passes_between_processes() -> None:
    model = MACHINES["counters"]
    found = explore(model, Limits())
    assert listed(pickle.loads(pickle.dumps(found))) == listed(found)  # noqa: S301 - made here
    assert replace(found, evidence=None) == replace(pickle.loads(pickle.dumps(found)), evidence=None)  # noqa: S301
