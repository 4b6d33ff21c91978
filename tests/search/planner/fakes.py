"""Engines that behave in every way an engine can, well or badly."""

import os
import signal
import time
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

import psutil
from msgspec.structs import replace

from seqcheck.model.expression import Expression
from seqcheck.model.model import Model
from seqcheck.search.engine import (
    NO_EXTRAS,
    Engine,
    Exploration,
    Extras,
    Keeper,
    Limits,
    Observer,
    Progress,
    Snapshot,
    Stop,
    Unfit,
)
from seqcheck.search.plain.plain import PlainEngine
from seqcheck.search.planner.planner import Planner


def answers(ask: Callable[[], Exploration], _observer: Observer) -> Exploration:
    return ask()


def answers_late(ask: Callable[[], Exploration], _observer: Observer) -> Exploration:
    time.sleep(1.5)
    return ask()


def answers_soon(ask: Callable[[], Exploration], _observer: Observer) -> Exploration:
    time.sleep(0.5)
    return ask()


def answers_when_alone(ask: Callable[[], Exploration], _observer: Observer) -> Exploration:
    """Wait until no other process of the planner is left, for 20 s at most."""
    until = time.monotonic() + 20
    planning = psutil.Process().parent()
    while planning is not None and len(planning.children()) > 1 and time.monotonic() < until:
        time.sleep(0.02)
    return ask()


def is_unfit(_ask: Callable[[], Exploration], _observer: Observer) -> Exploration:
    raise Unfit("its numbers are too wide")


def is_missing(_ask: Callable[[], Exploration], _observer: Observer) -> Exploration:
    raise ModuleNotFoundError("No module named 'diagrams'", name="diagrams")


def dies(_ask: Callable[[], Exploration], _observer: Observer) -> Exploration:
    os.kill(os.getpid(), signal.SIGKILL)
    raise AssertionError


def dies_having_kept(ask: Callable[[], Exploration], _observer: Observer) -> Exploration:
    """The process is killed when it has kept a snapshot: `Renaming` does it."""
    return ask()


def leaves(_ask: Callable[[], Exploration], _observer: Observer) -> Exploration:
    os._exit(5)


def breaks(_ask: Callable[[], Exploration], _observer: Observer) -> Exploration:
    raise ZeroDivisionError("by nought")


def runs_out(_ask: Callable[[], Exploration], _observer: Observer) -> Exploration:
    raise MemoryError


def is_full(ask: Callable[[], Exploration], _observer: Observer) -> Exploration:
    """As where diagrams have grown beyond their room, whatever memory there is: what was found so far is told."""
    return replace(ask(), stopped=Stop.MEMORY, complete_steps=2)


def hangs(_ask: Callable[[], Exploration], observer: Observer) -> Exploration:
    while True:
        observer(Progress(states=10**12, transitions=1, layer=3, waiting=4))
        time.sleep(0.01)


def is_deaf(_ask: Callable[[], Exploration], _observer: Observer) -> Exploration:
    """As in one long call of a library."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    time.sleep(600)
    raise AssertionError


def hoards(_ask: Callable[[], Exploration], _observer: Observer) -> Exploration:
    """Take memory, after a second some 400 MB in another, and look at no limit."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    held = []
    time.sleep(1)
    while True:
        held.append(b"x" * 2_000_000)
        time.sleep(0.005)


@dataclass(frozen=True, slots=True)
class Renaming:
    """Keeps the snapshots of `plain` under another engine's name."""

    keeper: Keeper
    name: str
    dies: bool = False

    def due(self) -> bool:
        return self.keeper.due()

    def save(self, snapshot: Snapshot) -> None:
        self.keeper.save(replace(snapshot, engine=self.name))
        if self.dies:
            os.kill(os.getpid(), signal.SIGKILL)

    def kept(self, _engine: str) -> Snapshot | None:
        return self.keeper.kept(self.name)


@dataclass(frozen=True, slots=True)
class Fake:
    """An engine of a name, and how it behaves."""

    name: str
    how: Callable[[Callable[[], Exploration], Observer], Exploration]

    def explore(
        self,
        model: Model,
        watches: tuple[Expression, ...],
        limits: Limits,
        observer: Observer,
        extras: Extras = NO_EXTRAS,
    ) -> Exploration:
        keeper = None if extras.keeper is None else Renaming(extras.keeper, self.name, dies=self.how is dies_having_kept)

        def ask() -> Exploration:
            found = PlainEngine().explore(model, watches, limits, observer, replace(extras, keeper=keeper))
            return replace(found, engine=self.name)

        return self.how(ask, observer)


Behaviour = Callable[[Callable[[], Exploration], Observer], Exploration]


def find(symbolic: Behaviour, packed: Behaviour, name: str) -> Engine:
    """Return an engine by its name."""
    return PlainEngine() if name == "plain" else Fake(name, symbolic if name == "symbolic" else packed)


def no_plain(others: Callable[[str], Engine], name: str) -> Engine:
    """Return an engine by its name, where `plain` must not be asked."""
    assert name != "plain"
    return others(name)


def planner(symbolic: Behaviour, packed: Behaviour | None = None) -> Planner:
    """Return a planner with two engines that behave as told, or one."""
    names = ("plain", "symbolic") if packed is None else ("plain", "symbolic", "packed")
    return Planner(find=partial(find, symbolic, packed or is_unfit), names=names)
