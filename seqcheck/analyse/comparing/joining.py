"""Brings two machines onto one list of variables, so that a situation of one can be told from a situation of the other.

What both keep in the same way is shared: the same states in the same order, the same range, a timer of the same length, a
plant rule with a clock of the same length. Where that differs each keeps its own variable, and *codes* say which values mean
the same: states by name, numbers by value; of a timer, how long it has run in ticks, or that it has run out; of a plant rule,
how long it has been waiting, or, if it may wait for ever in both, that it has waited long enough. All else is of one only.
"""

from collections.abc import Sequence

from msgspec import Struct
from msgspec.structs import replace

from seqcheck.analyse.comparing.moving import Moving
from seqcheck.analyse.comparing.naming import Naming, Sort
from seqcheck.model.expression import Const
from seqcheck.model.model import (
    Clock,
    Model,
    Program,
    State,
    Timer,
    TimerKind,
    Variable,
    VariableKind,
    condition_of,
)
from seqcheck.model.run import StepKind
from seqcheck.search.comparing.pair import Coded, Label, Pair, Side
from seqcheck.search.engine import Trace

SORTS = {StepKind.COMMAND: Sort.COMMAND, StepKind.PERSON: Sort.PERSON, StepKind.PLANT: Sort.PLANT}


class Matched(Struct, frozen=True, kw_only=True):
    """A variable of the old machine and one of the new one, by place, that stand for the same thing.

    *codes* are those of the values of each from the lowest up; None: both keep it in the same way.
    """

    old: int
    new: int
    codes: tuple[tuple[int, ...], tuple[int, ...]] | None


class Joined(Struct, frozen=True, kw_only=True):
    """A pair, and where each machine's own variables stand in it. *labels* of the pair are named by steps of either."""

    pair: Pair
    matched: tuple[Matched, ...]
    old_places: tuple[int, ...]
    new_places: tuple[int, ...]

    def own(self, side: Side, trace: Trace) -> Trace:
        """Return a trace over the variables of one machine."""
        places = self.old_places if side is Side.OLD else self.new_places
        return replace(trace, raw_start=picked(trace.raw_start, places), states=tuple(picked(s, places) for s in trace.states))


def picked(state: State, places: Sequence[int]) -> State:
    """Return the values at some places."""
    return tuple(state[place] for place in places)


def join(old: Model, new: Model, naming: Naming) -> Joined:
    """Bring two machines onto one list of variables: those of the old one, what else the new one has, and codes."""
    matched = tuple(matches(old, new, naming))
    places = placed(old, new, matched)
    first, second = moved(old, new, matched, places)
    labels = tuple(labelled(old, new, naming, matched))
    known_old, known_new = {m.old for m in matched}, {m.new for m in matched}
    properties = tuple(same_ids(old, new, naming))
    pair = Pair(
        old=first,
        new=second,
        shared=tuple(m.old for m in matched if m.codes is None),
        coded=coded_in(old, matched, places),
        old_only=tuple(n for n in range(len(old.variables)) if n not in known_old),
        new_only=tuple(places[n] for n in range(len(new.variables)) if n not in known_new),
        labels=labels,
        commands=frozenset(n for n, label in enumerate(labels) if is_command(old, new, label)),
        conditions=tuple(
            (condition_of(first.properties[a].rule).test, condition_of(second.properties[b].rule).test)
            for a, b in properties
            if a is not None and b is not None
        ),
        properties=properties,
    )
    return Joined(pair=pair, matched=matched, old_places=tuple(range(len(old.variables))), new_places=places)


def placed(old: Model, new: Model, matched: Sequence[Matched]) -> tuple[int, ...]:
    """Return where the variables of the new machine stand: with what keeps them in the same way, or after the old ones."""
    same = {m.new: m.old for m in matched if m.codes is None}
    own = [place for place in range(len(new.variables)) if place not in same]
    spots = same | {place: len(old.variables) + n for n, place in enumerate(own)}
    return tuple(spots[place] for place in range(len(new.variables)))


def coded_in(old: Model, matched: Sequence[Matched], places: Sequence[int]) -> tuple[Coded, ...]:
    """Return what each machine keeps in its own way, with places for the codes after all else."""
    first = max(len(old.variables), max(places, default=0) + 1)
    pairs = [(m, m.codes) for m in matched if m.codes is not None]
    return tuple(
        Coded(place=first + n, old=m.old, new=places[m.new], old_codes=codes[0], new_codes=codes[1])
        for n, (m, codes) in enumerate(pairs)
    )


def moved(old: Model, new: Model, matched: Sequence[Matched], places: Sequence[int]) -> tuple[Model, Model]:
    """Return both machines over the joint variables and sensors; what only the other one has never changes."""
    size = len(old.variables)
    codes = [code_variable(max((*one.old_codes, *one.new_codes))) for one in coded_in(old, matched, places)]
    own = [v for v, place in zip(new.variables, places, strict=True) if place >= size]
    starts = {m.old: new.variables[m.new].starts for m in matched if m.codes is None}
    theirs = [replace(v, starts=starts[n]) if n in starts else still(v) for n, v in enumerate(old.variables)]
    moving = Moving(places, len(old.sensors))
    sensors = (*old.sensors, *map(moving.sensor, new.sensors))
    first = replace(old, variables=(*old.variables, *map(still, own), *codes), sensors=sensors)
    return first, moving.model(new, (*theirs, *own, *codes), sensors)


def still(variable: Variable) -> Variable:
    """Return a variable that the machine does not have: it never changes."""
    return replace(variable, starts=(variable.lowest,))


def code_variable(highest: int) -> Variable:
    """Return a variable for a code."""
    return Variable(name="", kind=VariableKind.MEMORY, lowest=0, highest=highest, labels=(), starts=(0,), line=1)


def is_command(old: Model, new: Model, label: Label) -> bool:
    """Tell whether a label is that of a command."""
    if label.old is not None:
        return old.steps[label.old].kind is StepKind.COMMAND
    return label.new is not None and new.steps[label.new].kind is StepKind.COMMAND


# --- variables ------------------------------------------------------------------------------------------------------
def matches(old: Model, new: Model, naming: Naming) -> list[Matched]:
    """Return the variables that stand for the same thing."""
    named = {key_of(new, place, None): place for place in range(len(new.variables))}
    found = []
    for place in range(len(old.variables)):
        other = named.get(key_of(old, place, naming))
        if other is not None and (codes := codes_of(old, place, new, other, naming)) is not None:
            same = codes[0] == codes[1] and bounds(old, place) == bounds(new, other)
            found.append(Matched(old=place, new=other, codes=None if same else codes))
    return found


def bounds(model: Model, place: int) -> tuple[int, int]:
    """Return the bounds of a variable."""
    return model.variables[place].lowest, model.variables[place].highest


def key_of(model: Model, place: int, naming: Naming | None) -> tuple[Sort, str]:
    """Return what a variable is matched by; with *naming*, as the new file names it."""
    variable = model.variables[place]
    sort, name = Sort.VARIABLE, variable.name
    if variable.kind is VariableKind.TIMER:
        sort = Sort.TIMER
    elif variable.kind is VariableKind.CLOCK:
        sort, name = Sort.PLANT, next(clock.rule for clock in model.clocks if clock.variable == place)
    if naming is not None:
        return sort, naming.renamed(sort, name)
    return sort, name if sort is Sort.PLANT else name.lower()


def codes_of(old: Model, a: int, new: Model, b: int, naming: Naming) -> tuple[tuple[int, ...], tuple[int, ...]] | None:
    """Return the codes of the values of two variables of one name; None if they can't be compared."""
    one, two = old.variables[a], new.variables[b]
    if one.kind is VariableKind.TIMER:
        return timer_codes(timer_at(old, a), timer_at(new, b))
    if one.kind is VariableKind.CLOCK:
        return clock_codes(clock_at(old, a), clock_at(new, b))
    if bool(one.labels) != bool(two.labels) or has_truths(one) != has_truths(two):
        return None
    if not one.labels:
        lowest = min(one.lowest, two.lowest)
        return tuple(range(one.lowest - lowest, one.highest - lowest + 1)), tuple(
            range(two.lowest - lowest, two.highest - lowest + 1)
        )
    return state_codes(one, two, naming)


def has_truths(variable: Variable) -> bool:
    """Tell whether a variable is a truth."""
    return variable.labels[:1] == (False,)


def state_codes(one: Variable, two: Variable, naming: Naming) -> tuple[tuple[int, ...], tuple[int, ...]]:
    """Return the codes of states by name: those of the new file in their order, then those that only the old one has."""
    if has_truths(one):
        return (0, 1), (0, 1)
    codes = {str(label).lower(): n for n, label in enumerate(two.labels)}
    found = []
    for label in one.labels:
        stands = naming.state(one.name, str(label), two.name)
        found.append(codes[stands] if stands in codes else codes.setdefault(f"{label} of old".lower(), len(codes)))
    return tuple(found), tuple(range(len(two.labels)))


def timer_at(model: Model, place: int) -> Timer:
    """Return the timer that is kept in a variable."""
    return next(timer for timer in model.timers if timer.variable == place)


def clock_at(model: Model, place: int) -> Clock:
    """Return the clock that is kept in a variable."""
    return next(clock for clock in model.clocks if clock.variable == place)


def timer_codes(one: Timer, two: Timer) -> tuple[tuple[int, ...], tuple[int, ...]] | None:
    """Return the codes of two timers: how long it has run, or that it has run out."""
    if one.kind is not two.kind:
        return None
    out = max(one.pt, two.pt) + (1 if one.kind is TimerKind.TP else 0)
    lasts = [timer.pt + 1 if timer.kind is TimerKind.TP else timer.pt for timer in (one, two)]
    return (*range(lasts[0]), out), (*range(lasts[1]), out)


def clock_codes(one: Clock, two: Clock) -> tuple[tuple[int, ...], tuple[int, ...]]:
    """Return the codes of two clocks: how long a rule has been waiting; where neither must happen, the last is long enough."""
    if one.latest is None and two.latest is None:
        out = max(one.most, two.most)
        return (*range(one.most), out), (*range(two.most), out)
    return tuple(range(one.most + 1)), tuple(range(two.most + 1))


# --- steps and properties -------------------------------------------------------------------------------------------
def labelled(old: Model, new: Model, naming: Naming, matched: Sequence[Matched]) -> list[Label]:
    """Return the labels of all steps: those of the new file in its order, those that only the old one has, waiting."""
    panel = {m.old: m for m in matched}
    places = panel_places(old)
    olds: dict[tuple[StepKind, str, int], int] = {}
    for number, step in enumerate(old.steps):
        if step.kind is StepKind.PANEL:
            match = panel.get(places[step.name])
            name = f"{step.name} of old" if match is None else new.variables[match.new].name
            olds[step.kind, name, code(old, places[step.name], step.program, match, 0)] = number
        else:
            olds[step.kind, naming.renamed(SORTS[step.kind], step.name) or without_counterpart(number), 0] = number
    theirs = {m.new: m for m in matched}
    spots = panel_places(new)
    found = []
    for number, step in enumerate(new.steps):
        to = code(new, spots[step.name], step.program, theirs.get(spots[step.name]), 1) if step.kind is StepKind.PANEL else 0
        found.append(Label(old=olds.pop((step.kind, step.name, to), None), new=number))
    return [*found, *(Label(old=number, new=None) for number in olds.values()), Label(old=None, new=None)]


def without_counterpart(number: int) -> str:
    """Return a name that nothing in a file has: names are in one line."""
    return f"\n{number}"


def panel_places(model: Model) -> dict[str, int]:
    """Return where panel items are kept."""
    return {v.name: place for place, v in enumerate(model.variables) if v.kind is VariableKind.PANEL}


def code(model: Model, place: int, program: Program, match: Matched | None, side: int) -> int:
    """Return the code of the value that a panel item is set to."""
    (value,) = program[0].values
    raw = value.value - model.variables[place].lowest if isinstance(value, Const) else 0
    if match is None or match.codes is None:
        return raw
    return match.codes[side][raw]


def same_ids(old: Model, new: Model, naming: Naming) -> list[tuple[int | None, int | None]]:
    """Return the properties of one id in both, those of the new file in its order, then those that only the old one has."""
    olds = {naming.renamed(Sort.PROPERTY, p.id) or without_counterpart(n): n for n, p in enumerate(old.properties)}
    found = [(olds.pop(p.id, None), n) for n, p in enumerate(new.properties)]
    return [*found, *((n, None) for n in olds.values())]
