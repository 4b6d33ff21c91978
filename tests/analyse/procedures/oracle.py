"""A second reading of what procedures and deviations come to: plain, slow, straight from the definition, over `semantics` only.

Each deviation is followed by itself, from each situation in which it begins, as a list of things that are done. A
configuration is how far that list is done, the ticks that are left of a wait, the state, and what is known of the path so far.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from enum import Enum

import networkx as nx

from seqcheck.model import model as m
from seqcheck.model import semantics
from seqcheck.model.expression import Expression
from seqcheck.model.run import Beyond, Failure, StepKind

Label = tuple[object, ...]
"""A class that is met, with what tells it from others of its sort."""


@dataclass(frozen=True, slots=True)
class Deed:
    """One thing that is done: a step given, a panel item set, ticks let pass, a condition waited for, or any time let pass."""

    kind: str
    place: int
    number: int = 0
    end: Expression | None = None


class Path(Enum):
    """What is known of the path: still within the deviation, something refused there; past it, with an effect or without."""

    WITHIN = 1
    REFUSED = 2
    PAST = 3
    UNCHANGED = 4


@dataclass(frozen=True, slots=True)
class At:
    """A configuration. *done* None: nothing more is done."""

    done: int | None
    left: int
    state: m.State
    path: Path = Path.PAST


@dataclass(slots=True)
class Machine:
    """What a machine does, kept for each state."""

    model: m.Model
    kept: dict[tuple[object, ...], object] = field(default_factory=dict)

    def attempt(self, state: m.State, number: int | None) -> m.State | Failure | None:
        """Take a step, or let a tick pass: None if that is not possible."""
        key = state, number
        if key not in self.kept:
            self.kept[key] = self._attempt(state, number)
        return self.kept[key]  # type: ignore[return-value]

    def _attempt(self, state: m.State, number: int | None) -> m.State | Failure | None:
        try:
            if number is None:
                return semantics.tick(self.model, state)
            step = self.model.steps[number]
            return semantics.take(self.model, step, state) if semantics.possible(self.model, step, state) else None
        except semantics.Failed as failed:
            return failed.failure

    def moves(self, state: m.State, *kinds: StepKind) -> Iterator[tuple[int, m.State | Failure]]:
        """Yield the steps of some kinds that are possible, and where they lead."""
        for number, step in enumerate(self.model.steps):
            if step.kind in kinds:
                after = self.attempt(state, number)
                if after is not None:
                    yield number, after

    def truth(self, test: Expression, state: m.State) -> bool | None:
        """Tell whether a condition holds; None: it has no value."""
        try:
            return bool(semantics.evaluate(self.model, test, state))
        except semantics.Impossible:
            return None

    def hazards(self, state: m.State) -> set[Label]:
        """Return the hazards that hold."""
        found = [p for p in self.model.properties if isinstance(p.rule, m.Hazard)]
        return {("hazard", p.id) for p in found if self.truth(m.condition_of(p.rule).test, state)}

    def valueless(self, state: m.State) -> set[Label]:
        """Return the hazards that have no value."""
        found = [p for p in self.model.properties if isinstance(p.rule, m.Hazard)]
        return {("no value", p.id) for p in found if self.truth(m.condition_of(p.rule).test, state) is None}

    def everything(self, state: m.State) -> set[m.State]:
        """Return all states that the machine can come to from a state, by anything but faults."""
        reached, pending = {state}, [state]
        while pending:
            here = pending.pop()
            for after in [self.attempt(here, None), *(self.attempt(here, n) for n in range(len(self.model.steps)))]:
                if isinstance(after, tuple) and after not in reached:
                    reached.add(after)
                    pending.append(after)
        return reached


def failing(failure: Failure) -> Label:
    """Return a label that is the same for the same failure."""
    if isinstance(failure, Beyond):
        return "fails", "range", failure.rule, failure.variable
    return ("fails", "settling", *failure.names)


@dataclass(slots=True)
class Following:
    """Follows one list of deeds of one procedure, of which so many are *within* the deviation.

    *may_be*: the states in which the machine may be after them as written. *ends*: those in which the procedure may end so.
    """

    machine: Machine
    procedure: m.Procedure
    deeds: list[Deed]
    regardless: bool = False
    within: int = 0
    may_be: frozenset[m.State] = frozenset()
    ends: set[m.State] | None = None
    graph: "nx.DiGraph[At]" = field(default_factory=nx.DiGraph)
    events: dict[At, set[Label]] = field(default_factory=dict)

    def deed(self, at: At) -> Deed | None:
        """Return what is done in a configuration."""
        return self.deeds[at.done] if at.done is not None and at.done < len(self.deeds) else None

    def begin(self, state: m.State) -> At:
        """Return the configuration in which it begins."""
        return self.come(At(done=0, left=0, state=state, path=Path.WITHIN), 0, state, Path.WITHIN)

    def come(self, at: At, done: int, state: m.State, path: Path) -> At:
        """Return the configuration in which so many deeds are done."""
        if path in {Path.WITHIN, Path.REFUSED} and done >= self.within:
            path = Path.UNCHANGED if path is Path.WITHIN and state in self.may_be else Path.PAST
        there = replace(at, done=done, left=0, state=state, path=path)
        deed = self.deed(there)
        return replace(there, left=deed.number) if deed is not None and deed.kind == "let" else there

    def follow(self, begins: list[At]) -> None:
        """Visit every configuration."""
        pending = list(dict.fromkeys(begins))
        self.graph.add_nodes_from(pending)
        seen = set(pending)
        while pending:
            at = pending.pop()
            self.events[at] = set(self.machine.hazards(at.state) | self.machine.valueless(at.state))
            for after, is_tick in self.visit(at):
                ticks = is_tick or (self.graph.has_edge(at, after) and self.graph.edges[at, after]["tick"])
                self.graph.add_edge(at, after, tick=ticks)
                if after not in seen:
                    seen.add(after)
                    pending.append(after)

    def visit(self, at: At) -> Iterator[tuple[At, bool]]:
        """Yield what can follow, and whether that is a tick; note what happens."""
        deed, state = self.deed(at), at.state
        if deed is not None and deed.kind == "until" and deed.end is not None:
            ended = self.machine.truth(deed.end, state)
            if ended is None:
                self.events[at].add(("no value", "until"))
                return
            if ended:
                yield self.come(at, (at.done or 0) + 1, state, at.path), False
                return
        for _, after in self.machine.moves(state, StepKind.PLANT):
            if not isinstance(after, tuple):
                self.events[at].add(failing(after))
            elif after != state:
                yield replace(at, state=after), False
        if at.done is None:
            yield from self.tick(at, lambda after: replace(at, state=after))
        elif deed is None:
            yield from self.end(at)
        else:
            yield from self.do(at, deed)

    def tick(self, at: At, onward: Callable[[m.State], At]) -> Iterator[tuple[At, bool]]:
        """Let a tick pass."""
        after = self.machine.attempt(at.state, None)
        if isinstance(after, tuple):
            yield onward(after), True
        elif after is not None:
            self.events[at].add(failing(after))

    def do(self, at: At, deed: Deed) -> Iterator[tuple[At, bool]]:
        """Do what is to be done."""
        done = (at.done or 0) + 1
        match deed.kind:
            case "let" if at.left > 1:
                yield from self.tick(at, lambda after: replace(at, state=after, left=at.left - 1))
            case "let":
                yield from self.tick(at, lambda after: self.come(at, done, after, at.path))
            case "until":
                yield from self.tick(at, lambda after: replace(at, state=after))
            case "loose":
                yield from self.tick(at, lambda after: replace(at, state=after))
                yield self.come(at, done, at.state, at.path), False
            case _:
                yield from self.give(at, deed, done)

    def give(self, at: At, deed: Deed, done: int) -> Iterator[tuple[At, bool]]:
        """Give a step, or set a panel item."""
        after = self.machine.attempt(at.state, deed.number)
        if isinstance(after, tuple):
            yield self.come(at, done, after, at.path), False
        elif after is not None:
            self.events[at].add(failing(after))
        elif deed.kind == "set":
            yield self.come(at, done, at.state, at.path), False
        else:
            step = self.machine.model.steps[deed.number]
            false = tuple(n for n, guard in enumerate(step.guards) if not self.machine.truth(guard.test, at.state))
            self.events[at].add(("refused", deed.place, deed.number, false))
            if not self.regardless:
                self.events[at].add(("stops",))
                yield At(done=None, left=0, state=at.state), False
            else:
                path = Path.REFUSED if at.path is Path.WITHIN else at.path
                yield self.come(at, done, at.state, path), False

    def end(self, at: At) -> Iterator[tuple[At, bool]]:
        """Come to the end."""
        ends_with = self.procedure.ends_with
        well = True if ends_with is None else self.machine.truth(ends_with.test, at.state)
        if well is None:
            self.events[at].add(("no value", "ends with"))
        elif not well:
            self.events[at].add(("stuck",))
        else:
            self.events[at].add(("no effect",) if at.path is Path.UNCHANGED else ("well",))
        if self.ends is not None and at.state not in self.ends:
            yield At(done=None, left=0, state=at.state), False

    # --- what comes of it ---
    def clean(self) -> "nx.DiGraph[At]":
        """Return the graph without what comes after a hazard."""
        kept = self.graph.copy()
        kept.remove_edges_from([(a, b) for a, b in self.graph.edges if self.machine.hazards(a.state)])
        return kept

    def lasting(self) -> set[At]:
        """Return where an `until` may go on for ever: on a circle on which time passes, no hazard met."""
        inside = [at for at in self.graph if (d := self.deed(at)) is not None and d.kind == "until"
                  and not self.machine.hazards(at.state)]  # fmt: skip
        part = self.graph.subgraph(inside)
        circles = list(nx.strongly_connected_components(part))
        found = set()
        for circle in circles:
            within = part.subgraph(circle)
            if any(within.edges[edge]["tick"] for edge in within.edges):
                found |= circle
        return found
