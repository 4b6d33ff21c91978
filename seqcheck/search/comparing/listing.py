"""Lists the states of one of two machines, by situation, and what each step and condition comes to in them."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import TypeAlias

from msgspec import Struct, field
from msgspec.structs import replace

from seqcheck.model import semantics
from seqcheck.model.expression import TRUE, Apply, Const, Expression, Load, Op, conjunction
from seqcheck.model.model import Guard, Model, Property, Reachable, State
from seqcheck.search.comparing.pair import Pair, Side
from seqcheck.search.engine import Exploration, Extras, Limits, Listed, Observer, Trace
from seqcheck.search.plain.plain import PlainEngine

Situation: TypeAlias = tuple[int, ...]
Keyed: TypeAlias = Callable[[State], Situation]


class Listing(Struct, kw_only=True):
    """The states of one machine, cheapest first, and by situation. *complete*: these are all."""

    side: Side
    model: Model
    keyed: Keyed
    exploration: Exploration
    order: Sequence[State]
    situations: dict[Situation, list[State]] = field(default_factory=dict)

    @property
    def complete(self) -> bool:
        """Whether every reachable state is listed."""
        return self.exploration.stopped is None

    def starts(self) -> set[Situation]:
        """Return the situations in which the machine can start."""
        found = set()
        for raw in semantics.raw_starts(self.model):
            try:
                found.add(self.keyed(semantics.settle(self.model, raw)))
            except semantics.Failed:
                continue
        return found

    def holds(self, test: Expression, state: State) -> bool:
        """Tell whether a condition has a value and is true."""
        try:
            return bool(semantics.evaluate(self.model, test, state))
        except semantics.Impossible:
            return False

    def accepts(self, number: int | None, state: State) -> bool:
        """Tell whether all permissives of a command hold."""
        return number is not None and all(self.holds(guard.test, state) for guard in self.model.steps[number].guards)

    def after(self, number: int | None, state: State, *, waits: bool) -> Situation | str | None:
        """Return the other situation that a step, or a tick, leads to; `fails`, or None if there is no such."""
        try:
            if waits:
                found = semantics.tick(self.model, state)
            elif number is None or not semantics.possible(self.model, self.model.steps[number], state):
                return None
            else:
                found = semantics.take(self.model, self.model.steps[number], state)
        except semantics.Failed:
            return "fails"
        here = self.keyed(state)
        return None if found is None or (there := self.keyed(found)) == here else there


def keyed_by(pair: Pair, side: Side) -> Keyed:
    """Return what tells the situation of a state."""
    model = pair.model(side)
    own = [(one.old, one.old_codes) if side is Side.OLD else (one.new, one.new_codes) for one in pair.coded]
    coded = [(place, model.variables[place].lowest, codes) for place, codes in own]

    def keyed(state: State) -> Situation:
        shared = [state[place] for place in pair.shared]
        return (*shared, *(codes[state[place] - lowest] for place, lowest, codes in coded))

    return keyed


def listed(pair: Pair, side: Side, limits: Limits, observer: Observer) -> Listing:
    """Visit every state of a machine, or as far as *limits* allow; of a search that is stopped no state is listed."""
    model, keyed = pair.model(side), keyed_by(pair, side)
    exploration = PlainEngine().explore(model, (), limits, observer, Extras(evidence=True))
    order = exploration.evidence.states if isinstance(exploration.evidence, Listed) else ()
    listing = Listing(side=side, model=model, keyed=keyed, exploration=exploration, order=order)
    for state in order:
        listing.situations.setdefault(keyed(state), []).append(state)
    return listing


def ways(model: Model, states: Iterable[State], limits: Limits, observer: Observer) -> Mapping[State, Trace]:
    """Return a shortest way to each of some reachable states, as far as *limits* allow."""
    wanted = list(dict.fromkeys(states))
    goals = tuple(
        Property(id=str(n), text="", rule=Reachable(goal=Guard(name="", test=is_state(s), text="")), risk="", source="", line=1)
        for n, s in enumerate(wanted)
    )
    found = PlainEngine().explore(replace(model, properties=goals), (), limits, observer).found
    return {wanted[number]: trace for number, trace in found.items()}


def is_state(state: State) -> Expression:
    """Return the condition that only one state has."""
    return conjunction(*(Apply(Op.EQUAL, (Load(n), Const(value))) for n, value in enumerate(state))) if state else TRUE
