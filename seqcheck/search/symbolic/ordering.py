"""Chooses an order for the variables of a model: what has to do with one another stands close together.

Variables that hold several machines together, like a mode switch, come first; then machine by machine. Within a machine the
variables are drawn together by what reads and writes them: each moves to the middle of its partners, again and again (Aloul,
Markov and Sakallah, "FORCE: a fast and easy-to-implement variable-ordering heuristic", 2003); what time adds to stands below,
right above it what drives it.
In machines with timers or clocks what nothing ever writes, like a mark of what is left out of the logic, takes no part in
that: it is put in afterwards (without time it does better among the others: measured, not understood).
"""

from collections.abc import Iterator, Sequence
from functools import lru_cache
from typing import TypeAlias

from seqcheck.model.expression import Apply, Expression, Op, Sense
from seqcheck.model.idling import TIME
from seqcheck.model.model import Model, Program
from seqcheck.search.symbolic.diagrams import width
from seqcheck.search.symbolic.valuing import Facts

Group: TypeAlias = frozenset[int]
"""Variables that have to do with one another."""

MOST_HUBS = 6
MOST_TRIED = 16
WORTH_SPLITTING = 0.95
"""What splitting may cost."""

HUB_COST = 0.3

LEAST_MACHINE = 8
SURELY_SEVERAL = 4
"""Two parts with so many variables are machines, or so many parts of like size, however small. Others are parts of one machine,
whose time bits do best below all of it."""

PASSES = 50

SEVERAL = -1


def ordered(facts: Facts) -> tuple[tuple[int, int], ...]:
    """Return the bits from the top, as variable and place."""
    widths = [width(v.lowest, v.highest) for v in facts.model.variables]
    return tuple((n, bit) for n in variables(facts) for bit in reversed(range(widths[n])))


def variables(facts: Facts) -> list[int]:
    """Return the variables from the top."""
    found = facts.model.variables
    widths = [max(1, width(v.lowest, v.highest)) for v in found]
    still = unwritten(facts) if facts.model.timers or facts.model.clocks else frozenset()
    groups = tuple(group for group in dict.fromkeys(group - still for group in coupled(facts)) if len(group) > 1)
    hubs, machines = split(tuple(n for n in range(len(found)) if n not in still), groups)
    order, driving = list(hubs), drivers(facts)
    for machine in machines:
        order += sorted(drawn_together(machine, groups, widths), key=lambda n: (found[n].kind in TIME, n in driving))
    return put_in(order, still, facts)


def drivers(facts: Facts) -> Group:
    """Return the variables on which it hangs whether time adds to something."""
    conditions_ = [timer.input.test for timer in facts.model.timers] + [clock.when for clock in facts.model.clocks]
    return frozenset[int]().union(*map(facts.reads, conditions_))


def unwritten(facts: Facts) -> Group:
    """Return the variables that keep the value that they have at the start."""
    model = facts.model
    programs = [step.program for step in model.steps]
    programs += [reaction.program for reaction in model.reactions]
    programs += [observer.program for observer in model.observers]
    written = {target for program in programs for assign in program for target in assign.targets}
    return frozenset(n for n, v in enumerate(model.variables) if n not in written and v.kind not in TIME)


def put_in(order: Sequence[int], still: Group, facts: Facts) -> list[int]:
    """Put variables that nothing writes into an order, each right below the last of those that a condition reads with it.

    Above what time adds to, though.
    """
    kinds = [v.kind for v in facts.model.variables]
    place_of = {variable: place for place, variable in enumerate(order)}
    time = min((place for variable, place in place_of.items() if kinds[variable] in TIME), default=len(order))
    places = dict.fromkeys(still, -1)
    for condition in conditions(facts.model):
        read = facts.reads(condition)
        below = [min(place_of[variable], time - 1) for variable in read - still]
        for variable in read & still:
            places[variable] = max([places[variable], *below])
    found = [(place, -1, variable) for variable, place in place_of.items()]
    return [variable for *_, variable in sorted([*found, *((place, n, n) for n, place in places.items())])]


def conditions(model: Model) -> Iterator[Expression]:
    """Yield what is read together: conditions, and the values that are written."""
    for step in model.steps:
        yield from (guard.test for guard in step.guards)
        yield from (value for assign in step.program for value in assign.values)
    for reaction in model.reactions:
        yield reaction.when.test
        yield from (value for assign in reaction.program for value in assign.values)
    yield from (timer.input.test for timer in model.timers)
    yield from (clock.when for clock in model.clocks)


def grouped(facts: Facts, changed: Sequence[frozenset[int]]) -> list[list[int]]:
    """Return the places of the sets of variables that belong to several machines, then of those of each machine."""
    groups = tuple(dict.fromkeys(group for group in coupled(facts) if len(group) > 1))
    _, machines = split(tuple(range(len(facts.model.variables))), groups)
    machine_of = {variable: number for number, machine in enumerate(machines) for variable in machine}
    found: dict[int, list[int]] = {SEVERAL: []}
    for place, variables_ in enumerate(changed):
        owners = {machine_of.get(variable, SEVERAL) for variable in variables_}
        found.setdefault(owners.pop() if len(owners) == 1 else SEVERAL, []).append(place)
    return [found[number] for number in sorted(found)]


def coupled(facts: Facts) -> Iterator[Group]:
    """Yield groups of variables that something reads or writes together; conditions count clause by clause."""
    model = facts.model
    for step in model.steps:
        tests = [step.ready, *(guard.test for guard in step.guards)]
        yield from written(facts, step.program, tests)
    for reaction in model.reactions:
        yield from written(facts, reaction.program, [reaction.when.test])
    yield from (facts.reads(timer.input.test) | {timer.variable} for timer in model.timers)
    yield from (facts.reads(clock.when) | {clock.variable} for clock in model.clocks)
    for observer in model.observers:
        yield from written(facts, observer.program, [])


def written(facts: Facts, program: Program, tests: Sequence[Expression]) -> Iterator[Group]:
    """Yield each variable that a program writes with those that its new value, or one clause of the tests, depends on."""
    clauses = [facts.reads(part) for test in tests for part in needed(facts.model, test)]
    for assign in program:
        for target, value in zip(assign.targets, assign.values, strict=True):
            yield facts.reads(value) | {target}
            yield from (clause | {target} for clause in clauses if clause)


def needed(model: Model, test: Expression) -> Iterator[Expression]:
    """Split a condition into what all has to hold."""
    if isinstance(test, Apply) and test.op is Op.AND:
        for operand in test.operands:
            yield from needed(model, operand)
    elif isinstance(test, Sense) and not model.sensors[test.sensor].stuck:
        yield from needed(model, model.sensors[test.sensor].value)
    else:
        yield test


@lru_cache(maxsize=1)
def split(among: tuple[int, ...], groups: tuple[Group, ...]) -> tuple[list[int], list[list[int]]]:
    """Return the variables that hold machines together, fewest first, and the machines that are left without them.

    One search asks twice.
    """
    partners: dict[int, set[int]] = {variable: set() for variable in among}
    for group in groups:
        for variable in group:
            partners[variable] |= group
    apart = {n: len(components(sorted(partners[n] - {n}), [g for g in groups if n not in g])) for n in among}
    likely = sorted(among, key=lambda variable: -apart[variable])
    tried = [[one] for one in likely[:MOST_TRIED]] + [likely[:hubs] for hubs in range(2, MOST_HUBS + 1)]
    best, least = list[int](), WORTH_SPLITTING
    for hubs in tried:
        cost = splitting_cost(hubs, among, groups)
        if cost < least:
            best, least = hubs, cost
    for hub in reversed(best):
        fewer = [other for other in best if other != hub]
        if splitting_cost(fewer, among, groups) < least:
            best, least = fewer, splitting_cost(fewer, among, groups)
    return sorted(best), without(best, among, groups)


def splitting_cost(hubs: Sequence[int], among: Sequence[int], groups: Sequence[Group]) -> float:
    """Return what it costs to take some variables out: the part that the largest machine left is of all, and their number.

    Infinite where what is left are no machines.
    """
    sizes = sorted(map(len, without(hubs, among, groups)), reverse=True)
    alike = sum(2 * size >= sizes[0] for size in sizes)
    if len(sizes) < 2 or (sizes[1] < LEAST_MACHINE and alike < SURELY_SEVERAL):
        return float("inf")
    return sizes[0] / len(among) + HUB_COST * len(hubs)


def without(hubs: Sequence[int], among: Sequence[int], groups: Sequence[Group]) -> list[list[int]]:
    """Return the components that are left without some variables."""
    return components([n for n in among if n not in hubs], groups)


def components(among: Sequence[int], groups: Sequence[Group]) -> list[list[int]]:
    """Split variables into those that groups connect, in the order of their first."""
    root = {variable: variable for variable in among}

    def top(variable: int) -> int:
        while root[variable] != variable:
            root[variable] = root[root[variable]]
            variable = root[variable]
        return variable

    for group in groups:
        inside = [top(variable) for variable in group if variable in root]
        for one in inside[1:]:
            root[top(one)] = top(inside[0])
    found: dict[int, list[int]] = {}
    for variable in among:
        found.setdefault(top(variable), []).append(variable)
    return list(found.values())


def drawn_together(machine: Sequence[int], groups: Sequence[Group], widths: Sequence[int]) -> list[int]:
    """Return the variables of a machine in an order in which its groups are short."""
    inside = set(machine)
    own = [group & inside for group in groups if len(group & inside) > 1]
    best = order = list(machine)
    shortest = length(order, own, widths)
    met: list[list[int]] = []
    while order not in met and len(met) < PASSES:
        met.append(order)
        order = moved(order, own, widths)
        now = length(order, own, widths)
        if now < shortest:
            best, shortest = order, now
    return best


def middles(order: Sequence[int], widths: Sequence[int]) -> dict[int, float]:
    """Return the middle of each variable among the bits of an order."""
    found, passed = {}, 0
    for variable in order:
        found[variable] = passed + widths[variable] / 2
        passed += widths[variable]
    return found


def length(order: Sequence[int], groups: Sequence[Group], widths: Sequence[int]) -> float:
    """Return how far groups reach in an order, all together, in bits."""
    middle = middles(order, widths)
    places = [[middle[variable] for variable in group] for group in groups]
    return sum(max(group) - min(group) for group in places)


def moved(order: Sequence[int], groups: Sequence[Group], widths: Sequence[int]) -> list[int]:
    """Move each variable to the middle of the middles of its groups."""
    middle = middles(order, widths)
    pulls: dict[int, list[float]] = {variable: [] for variable in order}
    for group in groups:
        centre = sum(middle[variable] for variable in group) / len(group)
        for variable in group:
            pulls[variable].append(centre)
    goals = {v: sum(pull) / len(pull) if pull else middle[v] for v, pull in pulls.items()}
    return sorted(order, key=lambda variable: (goals[variable], middle[variable]))
