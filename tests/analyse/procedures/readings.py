"""What the oracle says of a whole model: which procedures work, and the set of classes that each deviation meets."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import groupby

import networkx as nx

from seqcheck.model import model as m
from seqcheck.model import semantics
from seqcheck.model.run import StepKind
from tests.analyse.procedures.oracle import At, Deed, Following, Label, Machine, failing

Row = tuple[int, str, int | None, bool]
"""A row: place, deviation, another command, whether it goes on regardless."""


def deeds_of(step: m.ProcedureStep, place: int) -> list[Deed]:
    """Return what is done for a step of a procedure."""
    match step:
        case m.Act(step=number):
            return [Deed("give", place, number)]
        case m.SetPanel(steps=numbers):
            return [Deed("set", place, number) for number in numbers]
        case m.Wait(ticks=ticks):
            return [Deed("let", place, ticks)]
        case m.Until(end=guard):
            return [Deed("until", place, end=guard.test)]


def waits(step: m.ProcedureStep) -> bool:
    return isinstance(step, m.Wait | m.Until)


@dataclass(slots=True)
class AsWritten:
    """A procedure as written: where it may be, where it may end, and how it breaks."""

    following: Following
    begins: list[m.State]
    firsts: list[int]
    reached: set[At]
    ends: set[m.State]
    breaks: set[Label]

    def turn(self, place: int) -> list[At]:
        """Return the configurations in which the turn of a step comes: where it begins, or what a step before leads to."""
        graph = self.following.clean()
        return [
            at
            for at in self.reached
            if at.done == self.firsts[place]
            and (
                (place == 0 and at.state in self.begins and at == self.following.begin(at.state))
                or any(before.done != at.done and before in self.reached for before in graph.predecessors(at))
            )
        ]

    def waiting(self, place: int) -> list[At]:
        """Return the configurations in which a wait is not over."""
        machine = self.following.machine
        return [
            at
            for at in self.reached
            if at.done == self.firsts[place] and (deed := self.following.deed(at)) is not None
            and (deed.kind == "let" or (deed.end is not None and machine.truth(deed.end, at.state) is False))
        ]  # fmt: skip

    def may_be(self, entry: At, place: int) -> set[m.State]:
        """Return the states in which the machine may be when so many steps are done, from a configuration on."""
        graph = self.following.clean()
        onward = {entry} | nx.descendants(graph, entry)
        return {at.state for at in onward if at.done == self.firsts[place] and not self.following.machine.hazards(at.state)
                and self.is_turn(at)}  # fmt: skip

    def is_turn(self, at: At) -> bool:
        """Tell whether a wait has all its time left."""
        deed = self.following.deed(at)
        return deed is None or deed.kind != "let" or at.left == deed.number


@dataclass(slots=True)
class Reading:
    """Reads all procedures of a model."""

    model: m.Model
    machine: Machine = field(init=False)
    known: dict[int, AsWritten] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.machine = Machine(self.model)

    def as_written(self, number: int) -> AsWritten:
        """Follow a procedure as written."""
        if number not in self.known:
            self.known[number] = self._as_written(number)
        return self.known[number]

    def _as_written(self, number: int) -> AsWritten:
        procedure = self.model.procedures[number]
        breaks: set[Label] = set()
        begins: list[m.State] = []
        if procedure.after is not None:
            begins = sorted(self.as_written(procedure.after).ends)
            breaks |= set() if begins else {("never begins",)}
        else:
            for raw in semantics.raw_starts(self.model):
                try:
                    begins.append(semantics.settle(self.model, raw))
                except semantics.Failed as failed:
                    breaks.add(failing(failed.failure))
        parts = [deeds_of(step, place) for place, step in enumerate(procedure.steps)]
        firsts = [sum(map(len, parts[:place])) for place in range(len(parts) + 1)]
        following = Following(self.machine, procedure, [deed for part in parts for deed in part])
        following.follow([following.begin(state) for state in begins])
        graph = following.clean()
        reached: set[At] = set()
        for begin in {following.begin(state) for state in begins}:
            reached |= {begin} | nx.descendants(graph, begin)
        reached = {at for at in reached if at.done is not None}
        for at in reached:
            hazards = self.machine.hazards(at.state)
            breaks |= hazards or {e for e in following.events[at] if e[0] in {"refused", "fails", "no value", "stuck"}}
        if following.lasting() & reached:
            breaks.add(("never ends",))
        ends = {at.state for at in reached if following.deed(at) is None and not self.machine.hazards(at.state)}
        return AsWritten(following, begins, firsts, reached, ends, breaks)

    # --- deviations ---
    def rows(self, number: int) -> dict[Row, set[Label]]:
        """Return what each deviation from a procedure meets; nothing at all: it never comes about."""
        found = {}
        for place, deviation, other in self.deviations(number):
            for regardless in (True, False):
                found[place, deviation, other, regardless] = self.met(number, place, deviation, other, regardless=regardless)
        return found

    def deviations(self, number: int) -> Iterator[tuple[int, str, int | None]]:
        """Yield the deviations from a procedure."""
        steps = self.model.procedures[number].steps
        commands = [n for n, step in enumerate(self.model.steps) if step.kind is StepKind.COMMAND]
        for place, step in enumerate(steps):
            yield place, "left_out", None
            yield place, "repeated", None
            if step is not steps[-1] or place + 1 < len(steps):
                yield place, "swapped", None
            if place and waits(steps[place - 1]) and not waits(step):
                yield place, "early", None
            for other in commands:
                if not (isinstance(step, m.Act) and step.step == other):
                    yield place, "instead", other
            if self.model.emergency_stop is not None:
                yield place, "stopped", None

    def met(self, number: int, place: int, deviation: str, other: int | None, *, regardless: bool) -> set[Label]:
        """Return what one deviation meets."""
        written, procedure = self.as_written(number), self.model.procedures[number]
        steps, stop = procedure.steps, self.model.emergency_stop
        parts = [deeds_of(step, n) for n, step in enumerate(steps)]
        entries, on = written.turn(place), place + 1
        match deviation:
            case "left_out":
                first = []
            case "repeated":
                first = [*parts[place], *parts[place]]
            case "swapped":
                first, on = [*parts[place + 1], *parts[place]], place + 2
            case "early":
                first = parts[place]
                begin = place - len(list(next(g for w, g in groupby(reversed(steps[:place]), waits) if w)))
                entries = [at for each in range(begin, place) for at in written.waiting(each)]
            case "instead":
                first = [Deed("give", place, other or 0)]
            case _:
                assert stop is not None
                first = [Deed("set", 0, stop.press), Deed("loose", 0), Deed("set", 0, stop.release)]
                entries, on = entries + (written.waiting(place) if waits(steps[place]) else []), 0
        met: set[Label] = set()
        for entry in entries:
            may_be = frozenset() if deviation == "stopped" else frozenset(written.may_be(entry, on))
            following = Following(
                self.machine, procedure, [*first, *(d for part in parts[on:] for d in part)], regardless=regardless,
                within=len(first), may_be=may_be, ends=written.ends,
            )  # fmt: skip
            begins = following.begin(entry.state)
            following.follow([begins])
            met |= self.labels(following, begins, written)
        return met

    def labels(self, following: Following, begin: At, written: AsWritten) -> set[Label]:
        """Return all classes that are met from a configuration on."""
        met: set[Label] = set()
        for at in following.graph:
            met |= self.machine.hazards(at.state)
        lasting = following.lasting()
        graph = following.clean()
        for at in {begin} | nx.descendants(graph, begin):
            if self.machine.hazards(at.state):
                continue
            events = following.events[at]
            met |= {e for e in events if e[0] not in {"stuck", "stops"}}
            unknown = following.procedure.ends_with is None and not written.ends
            if ("stuck",) in events or at in lasting:
                way_out = self.way_out(following, at.state, written)
                met.add(("way out",) if way_out else ("no good end",) if unknown else ("lost",))
            elif ("stops",) in events and not unknown and not self.way_out(following, at.state, written):
                met.add(("lost",))
        return met

    def way_out(self, following: Following, state: m.State, written: AsWritten) -> bool:
        """Tell whether a good end can be reached from a state by anything but faults."""
        ends_with = following.procedure.ends_with
        key = "out", state, following.procedure.name
        if key not in self.machine.kept:
            reached = self.machine.everything(state)
            good = written.ends if ends_with is None else {s for s in reached if self.machine.truth(ends_with.test, s)}
            self.machine.kept[key] = bool(reached & good)
        return bool(self.machine.kept[key])
