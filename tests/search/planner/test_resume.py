"""A search that was stopped anywhere and is taken up again answers exactly as one that was left alone."""

import signal
import struct
import time
from collections.abc import Mapping
from functools import partial
from pathlib import Path

import pytest
from msgspec.structs import replace

from seqcheck.model.model import Model
from seqcheck.search.engine import Exploration, Extras, Limits, Progress, Snapshot, Stop
from seqcheck.search.plain import plain, remembering
from seqcheck.search.plain.plain import PlainEngine
from seqcheck.search.plain.remembering import Packing, code
from seqcheck.search.planner.container import Binding
from seqcheck.search.planner.job import NoAnswerError
from seqcheck.search.planner.keeping import FileKeeper, Shelf
from tests.analyse.asking import model_of, silent
from tests.cli.calling import counters
from tests.search.planner import fakes
from tests.search.test_plain import ONLY, ORDER, TICK_OVERTAKES, WAIT_OR_ACT

CASES = Path(__file__).parents[1] / "cases"


class Memory:
    """A keeper that keeps the parts of the last snapshot; *due_after* times asked, one is due."""

    def __init__(self, due_after: int = 10**9) -> None:
        self.parts: dict[str, bytes] | None = None
        self.saved = 0
        self._due_after = due_after
        self._asked = 0

    def due(self) -> bool:
        self._asked += 1
        return self._asked % self._due_after == 0

    def save(self, snapshot: Snapshot) -> None:
        assert snapshot.engine == "plain"
        self.parts = dict(snapshot.parts)
        self.saved += 1

    def kept(self, engine: str) -> Snapshot | None:
        return None if self.parts is None else Snapshot(engine=engine, parts=self.parts)


def explore(model: Model, limits: Limits, keeper: Memory | None = None, *, evidence: bool = False) -> Exploration:
    watches = tuple(p.rule.must_not_be.test for p in model.properties if hasattr(p.rule, "must_not_be"))
    return PlainEngine().explore(model, watches, limits, silent, Extras(keeper=keeper, evidence=evidence))


def stopped_every(model: Model, states: int) -> tuple[Exploration, int]:
    """Search in pieces: each call goes on from the last and stops after so many states more; return also how many calls."""
    keeper, most, calls = Memory(), states, 1
    while (found := explore(model, Limits(states=most), keeper, evidence=True)).stopped is not None:
        assert found.stopped is Stop.STATES
        most, calls = max(most, found.states) + states, calls + 1
    return found, calls


def machines() -> Mapping[str, Model]:
    texts = {"waiting": WAIT_OR_ACT, "overtakes": TICK_OVERTAKES, "order": ORDER, "only": ONLY, "counters": counters(3, 6)}
    texts |= {path.stem: path.read_text(encoding="utf-8") for path in sorted(CASES.glob("*.yaml"))}
    return {name: model_of(text) for name, text in texts.items()}


MACHINES = machines()


@pytest.mark.parametrize("name", MACHINES)
@pytest.mark.parametrize("states", [1, 7, 60])
def test_stopping_anywhere_changes_nothing(name: str, states: int) -> None:
    model = MACHINES[name]
    whole = explore(model, Limits(), evidence=True)
    if whole.states > 400 * states:
        states = whole.states // 400 + 1
    pieces, calls = stopped_every(model, states)
    assert calls > 1 or whole.states <= states + 1
    assert pieces == whole


@pytest.mark.parametrize("name", ["overtakes", "timers", "intervals", "endless", "stuck", "starts", "drawn_07"])
def test_any_snapshot_on_the_way_leads_to_the_same(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """As after a kill: nothing is known of what came after the snapshot. Chunks are small, so that they end everywhere."""
    monkeypatch.setattr(plain, "CHUNK", 3)
    model = MACHINES[name]
    keeper = Every()
    whole = explore(model, Limits(), keeper)
    assert len(keeper.all) > 3
    for parts in keeper.all[:: len(keeper.all) // 25 + 1]:
        again = Memory()
        again.parts = parts
        assert explore(model, Limits(), again) == whole


class Every(Memory):
    """A keeper that keeps every snapshot, and is always due for another."""

    def __init__(self) -> None:
        super().__init__(due_after=1)
        self.all: list[dict[str, bytes]] = []

    def save(self, snapshot: Snapshot) -> None:
        super().save(snapshot)
        assert self.parts is not None
        self.all.append(self.parts)


def test_an_interruption_leaves_a_search_that_can_be_taken_up(monkeypatch: pytest.MonkeyPatch) -> None:
    """The signal comes while states are being visited; the visit is ended first."""
    model = MACHINES["counters"]
    monkeypatch.setattr(plain, "CHUNK", 10)
    keeper = Memory()

    def press(progress: Progress) -> None:
        if progress.states > 100:
            signal.raise_signal(signal.SIGINT)

    cut = PlainEngine().explore(model, (), Limits(), press, Extras(keeper=keeper))
    assert cut.stopped is Stop.INTERRUPTED
    assert cut.states < 343
    whole = explore(model, Limits())
    assert explore(model, Limits(), keeper) == whole
    assert signal.getsignal(signal.SIGINT) is signal.default_int_handler


def test_what_a_torn_search_knows_is_not_kept(monkeypatch: pytest.MonkeyPatch) -> None:
    """A second Ctrl-C comes at any moment: what was kept before stays."""
    monkeypatch.setattr(plain, "CHUNK", 10)
    keeper = Memory(due_after=3)

    def tear(progress: Progress) -> None:
        if progress.states > 200:
            raise KeyboardInterrupt

    model = MACHINES["counters"]
    cut = PlainEngine().explore(model, (), Limits(), tear, Extras(keeper=keeper))
    assert cut.stopped is Stop.INTERRUPTED
    assert keeper.saved > 0
    assert explore(model, Limits(), keeper) == explore(model, Limits())


def test_a_limit_while_a_snapshot_is_read_leaves_the_snapshot() -> None:
    model = MACHINES["counters"]
    keeper = Memory()
    explore(model, Limits(states=200), keeper)
    kept = keeper.parts
    cut = explore(model, Limits(seconds=0), keeper)
    assert (cut.stopped, cut.states, cut.complete_steps) == (Stop.SECONDS, 0, -1)
    assert keeper.parts is kept
    assert explore(model, Limits(), keeper) == explore(model, Limits())


def test_a_finished_search_is_kept_if_it_took_long() -> None:
    """Of several searches the first need not be done again when the last was stopped."""
    model = MACHINES["counters"]
    keeper = Memory(due_after=1)
    whole = explore(model, Limits(), keeper)
    assert explore(model, Limits(states=343), keeper) == whole


def test_snapshots_need_little_memory(monkeypatch: pytest.MonkeyPatch) -> None:
    """They are written piece by piece: no part holds more than so many states."""
    monkeypatch.setattr(remembering, "PIECE", 100)
    model = MACHINES["counters"]
    keeper = Memory()
    explore(model, Limits(states=300), keeper)
    assert keeper.parts is not None
    sizes = {name: len(part) for name, part in keeper.parts.items()}
    assert max(size for name, size in sizes.items() if name != "search") <= 100 * 3
    assert len([name for name in sizes if name.startswith("states")]) >= 3
    assert explore(model, Limits(), keeper) == explore(model, Limits())


@pytest.mark.parametrize(
    ("lowest", "highest", "letter"),
    [
        (0, 1, "B"),
        (0, 255, "B"),
        (0, 256, "H"),
        (5, 65535, "H"),
        (0, 65536, "I"),
        (0, 2**32, "Q"),
        (-1, 0, "b"),
        (-128, 127, "b"),
        (-128, 128, "h"),
        (-129, 0, "h"),
        (-1, 40000, "i"),
        (-(2**63), 5, "q"),
        (-5, -3, "b"),
    ],
)
def test_each_variable_takes_the_narrowest_integer(lowest: int, highest: int, letter: str) -> None:
    assert code(lowest, highest) == letter
    packed = struct.pack(f"<{letter}{letter}", lowest, highest)
    assert struct.unpack(f"<{letter}{letter}", packed) == (lowest, highest)


def test_what_does_not_fit_is_refused() -> None:
    with pytest.raises(ValueError, match="does not fit 64 bits"):
        code(0, 2**64)
    with pytest.raises(ValueError, match="does not fit 64 bits"):
        code(-1, 2**63)


def test_states_come_back_from_bytes() -> None:
    model = model_of("machine: M\nmemory: {a: {range: -3..300}, b: bool, c: {range: 70000..70001}}\n")
    packing = Packing(model)
    states = [(-3, 0, 70000), (300, 1, 70001)]
    assert list(packing.unpack(packing.pack(states))) == states


HUGE = model_of(counters(6, 7))
"""262,144 states."""


def kept_in(path: Path) -> FileKeeper:
    shelf = Shelf(path=path, binding=Binding(version="1", sequence_sha256=""))
    shelf.open(("plain", "symbolic", "packed"))
    return FileKeeper(shelf, (), every_s=0.1)


@pytest.mark.parametrize("hindered", [fakes.hangs, fakes.is_deaf])
def test_engines_in_processes_of_their_own_keep_and_go_on(hindered: fakes.Behaviour, tmp_path: Path) -> None:
    """Where the limit ends the search, the snapshot is of that moment; the next call begins with that engine at once."""
    path = tmp_path / "kept"
    planner = fakes.planner(hindered, fakes.answers)
    cut = planner.explore(HUGE, (), Limits(seconds=1.8), silent, Extras(keeper=kept_in(path)))
    assert cut.stopped is Stop.SECONDS
    assert [one.name for one in tmp_path.iterdir()] == ["kept"]
    keeper = kept_in(path)
    assert keeper.engines == ("packed",)
    assert keeper.spent_before_s > 0.5
    found = replace(planner, find=partial(fakes.no_plain, planner.find)).explore(
        HUGE, (), Limits(), silent, Extras(keeper=keeper)
    )
    whole = explore(HUGE, Limits())
    assert replace(found, engine="plain", reason="", never=whole.never) == whole
    assert found.engine == "packed"


def test_a_process_that_is_killed_leaves_what_it_kept(tmp_path: Path) -> None:
    """As for lack of memory: the search goes on from the last snapshot, in the next call."""
    path = tmp_path / "kept"
    with pytest.raises(NoAnswerError, match="packed died: its process was ended by SIGKILL"):
        fakes.planner(fakes.is_unfit, fakes.dies_having_kept).explore(HUGE, (), Limits(), silent, Extras(keeper=kept_in(path)))
    assert kept_in(path).engines == ("packed",)
    found = fakes.planner(fakes.hangs, fakes.answers).explore(HUGE, (), Limits(), silent, Extras(keeper=kept_in(path)))
    assert (found.engine, found.states) == ("packed", 262144)


def test_plain_goes_on_with_its_own_snapshot(tmp_path: Path) -> None:
    path = tmp_path / "kept"
    planner = fakes.planner(fakes.breaks, fakes.breaks)
    cut = planner.explore(HUGE, (), Limits(states=15000), silent, Extras(keeper=kept_in(path)))
    assert (cut.engine, cut.stopped) == ("plain", Stop.STATES)
    found = planner.explore(HUGE, (), Limits(), silent, Extras(keeper=kept_in(path)))
    assert (found.engine, found.states, found.reason) == ("plain", 262144, "it goes on from its snapshot")


def test_engines_that_have_kept_something_all_begin_at_once(tmp_path: Path) -> None:
    path = tmp_path / "kept"
    for name in ("plain", "symbolic"):
        keeper = fakes.Renaming(kept_in(path), name)
        PlainEngine().explore(HUGE, (), Limits(states=50_000), silent, Extras(keeper=keeper))
    planner = fakes.planner(fakes.hangs, fakes.hangs)
    began = time.monotonic()
    found = planner.explore(HUGE, (), Limits(), silent, Extras(keeper=kept_in(path)))
    assert (found.engine, found.states) == ("plain", 262144)
    assert found.reason.startswith("the machine has 18 bits of state; it was ahead of symbolic")
    assert time.monotonic() - began < 20


def test_a_snapshot_of_another_form_is_not_read() -> None:
    model = MACHINES["counters"]
    keeper = Memory()
    explore(model, Limits(states=100), keeper)
    assert keeper.parts is not None
    keeper.parts["search"] = keeper.parts["search"].replace(b'"form": 1', b'"form": 0')
    with pytest.raises(ValueError, match="a snapshot of form 0"):
        explore(model, Limits(), keeper)
