"""Turns a checked tree into the finite machine with the faults under study built in."""

from collections.abc import Collection, Mapping, Sequence

from msgspec.structs import replace

from seqcheck.check import machine as tree
from seqcheck.compile.lower import (
    POWER,
    Scope,
    bounds,
    clock_name,
    encode,
    fault_name,
    keeps_clock,
    labels,
    longest,
    timer_start,
)
from seqcheck.compile.observing import observing
from seqcheck.compile.procedures import emergency_stop, procedures
from seqcheck.compile.properties import properties
from seqcheck.compile.sources import sources
from seqcheck.compile.stepping import steps
from seqcheck.model import model as m
from seqcheck.model.expression import Apply, Const, Expression, Load, Op

KINDS = {
    tree.Section.PART: m.VariableKind.PART,
    tree.Section.PANEL: m.VariableKind.PANEL,
    tree.Section.OUTPUT: m.VariableKind.OUTPUT,
    tree.Section.MEMORY: m.VariableKind.MEMORY,
}


def compile_observed(machine: tree.Machine, id_: str, faults: Collection[str] = ()) -> m.Model:
    """Return the model that judges one response or precedence, and nothing else. Raises `KeyError` for other ids."""
    asked = {r.id: r for r in machine.requirements if isinstance(r.rule, tree.Response | tree.Precedence)}[id_]
    model, scope = _compiled(machine, faults)
    added = observing(asked, scope, len(model.variables), machine.tick_s)
    observer = replace(added.observer, rule=_unlike_rules(model, id_))
    return replace(
        model,
        variables=(*model.variables, *added.variables),
        clocks=(*model.clocks, *added.clocks),
        observers=(observer,),
        properties=tuple(replace(p, rule=added.rule) for p in model.properties if p.id == id_),
    )


def _unlike_rules(model: m.Model, id_: str) -> str:
    """Return a name for what fails in an observer: the requirement's id may be the name of a rule too, and both may fail."""
    ruling: list[m.Step | m.Reaction | m.Timer] = [*model.steps, *model.reactions, *model.timers]
    taken = {one.name for one in ruling} | {clock.rule for clock in model.clocks}
    while id_ in taken:
        id_ += "'"
    return id_


def compile_machine(machine: tree.Machine, faults: Collection[str] = ()) -> m.Model:
    """Return the model in which each of *faults* (names in the file) may occur once. Raises `KeyError` for other names."""
    return _compiled(machine, faults)[0]


def _compiled(machine: tree.Machine, faults: Collection[str]) -> tuple[m.Model, Scope]:
    known = {fault.name: fault for fault in machine.faults}
    studied = tuple(sorted((known[name] for name in set(faults)), key=machine.faults.index))
    variables = _variables(machine, studied)
    scope = _scope(machine, studied, variables)
    order = steps(machine, scope, studied)
    model = m.Model(
        name=machine.name,
        revision=machine.revision,
        tick_s=machine.tick_s,
        variables=variables,
        sensors=tuple(_sensor(sensor, scope, studied) for sensor in machine.sensors),
        timers=tuple(_timer(timer, scope) for timer in machine.timers),
        clocks=tuple(_clock(rule, scope) for rule in machine.plant if keeps_clock(rule)),
        reactions=_reactions(machine, scope),
        steps=order,
        properties=properties(machine, scope, order),
        sources=sources(machine),
        actual=tuple((scope.places[name], does) for name, does in scope.actual.items()),
        faults=tuple(fault.name for fault in studied),
        procedures=procedures(machine, scope, order),
        emergency_stop=emergency_stop(machine, order),
    )
    return model, scope


def _variables(machine: tree.Machine, studied: Sequence[tree.Fault]) -> tuple[m.Variable, ...]:
    declared = [_variable(v) for section in tree.Section for v in machine.variables if v.section is section]
    timers = [_timer_variable(timer) for timer in machine.timers]
    clocks = [
        _counter(clock_name(rule), m.VariableKind.CLOCK, longest(rule.interval), rule.span.line)
        for rule in machine.plant
        if keeps_clock(rule)
    ]
    flags = [_counter(fault_name(fault), m.VariableKind.FAULT, 1, fault.span.line) for fault in studied]
    power = [_counter(POWER, m.VariableKind.POWER, 1, fault.span.line) for fault in studied if fault.power is not None]
    return (*declared, *timers, *clocks, *flags, *power)


def _variable(variable: tree.Variable) -> m.Variable:
    lowest, highest = bounds(variable.type)
    return m.Variable(
        name=variable.name,
        kind=KINDS[variable.section],
        lowest=lowest,
        highest=highest,
        labels=labels(variable.type),
        starts=tuple(encode(start, variable.type) for start in variable.starts),
        line=variable.span.line,
        text=variable.text,
    )


def _counter(name: str, kind: m.VariableKind, highest: int, line: int) -> m.Variable:
    return m.Variable(name=name, kind=kind, lowest=0, highest=highest, labels=(), starts=(0,), line=line)


def _timer_variable(timer: tree.Timer) -> m.Variable:
    highest = timer.pt_ticks + 1 if timer.kind is tree.TimerKind.TP else timer.pt_ticks
    kind, line, starts = m.VariableKind.TIMER, timer.span.line, (timer_start(timer),)
    return m.Variable(name=timer.name, kind=kind, lowest=0, highest=highest, labels=(), starts=starts, line=line)


def _shown(timer: tree.Timer, place: int) -> tuple[Expression, Expression]:
    """Return Q and ET of a timer kept at *place*."""
    now, pt = Load(place), Const(timer.pt_ticks)
    match timer.kind:
        case tree.TimerKind.TON:
            return Apply(Op.EQUAL, (now, pt)), now
        case tree.TimerKind.TOF:
            return Apply(Op.LESS, (now, pt)), now
        case tree.TimerKind.TP:
            running = Apply(Op.AND, (Apply(Op.AT_LEAST, (now, Const(1))), Apply(Op.AT_MOST, (now, pt))))
            return running, Apply(Op.MAX, (Apply(Op.MINUS, (now, Const(1))), Const(0)))


def _scope(machine: tree.Machine, studied: Sequence[tree.Fault], variables: tuple[m.Variable, ...]) -> Scope:
    places = {variable.name: place for place, variable in enumerate(variables)}
    shown = {timer.name: _shown(timer, places[timer.name]) for timer in machine.timers}
    types = {variable.name: variable.type for variable in machine.variables}
    return Scope(
        places=places,
        types=types,
        actual=_actual(machine, studied, places),
        sensors={sensor.name: number for number, sensor in enumerate(machine.sensors)},
        q={name: q for name, (q, _) in shown.items()},
        et={name: et for name, (_, et) in shown.items()},
        starts={variable.name: variable.starts[0] for variable in variables},
    )


def _actual(machine: tree.Machine, studied: Sequence[tree.Fault], places: Mapping[str, int]) -> dict[str, Expression]:
    """Return what each output that can be stuck, or without power, really does; stuck, it does so without power too."""
    outputs = [variable for variable in machine.variables if variable.section is tree.Section.OUTPUT]
    types = {output.name: output.type for output in outputs}
    actual: dict[str, Expression] = {}
    if POWER in places:
        for output in outputs:
            if output.unpowered is not None:
                unpowered = Const(encode(output.unpowered, output.type))
                actual[output.name] = Apply(Op.SEL, (Load(places[POWER]), Load(places[output.name]), unpowered))
    for fault in studied:
        if fault.stuck is not None and not fault.stuck.is_sensor:
            name = fault.stuck.signal
            flag, stuck = Load(places[fault_name(fault)]), Const(encode(fault.stuck.value, types[name]))
            actual[name] = Apply(Op.SEL, (flag, actual.get(name, Load(places[name])), stuck))
    return actual


def _sensor(sensor: tree.Sensor, scope: Scope, studied: Sequence[tree.Fault]) -> m.Sensor:
    stuck = tuple(
        (scope.places[fault_name(fault)], encode(fault.stuck.value, sensor.expression.type))
        for fault in studied
        if fault.stuck is not None and fault.stuck.is_sensor and fault.stuck.signal == sensor.name
    )
    value = scope.expression(sensor.expression)
    lowest, highest = bounds(sensor.expression.type)
    return m.Sensor(
        name=sensor.name,
        value=value,
        stuck=stuck,
        labels=labels(sensor.expression.type),
        text=sensor.text,
        lowest=lowest,
        highest=highest,
    )


def _timer(timer: tree.Timer, scope: Scope) -> m.Timer:
    return m.Timer(
        name=timer.name,
        kind=m.TimerKind[timer.kind.name],
        variable=scope.places[timer.name],
        input=scope.powered(timer.input),
        pt=timer.pt_ticks,
        q=scope.q[timer.name],
        et=scope.et[timer.name],
        text=timer.text,
    )


def _clock(rule: tree.PlantRule, scope: Scope) -> m.Clock:
    return m.Clock(
        rule=rule.name,
        variable=scope.places[clock_name(rule)],
        when=scope.expression(rule.when.expression),
        most=longest(rule.interval),
        latest=rule.interval.latest,
    )


def _reactions(machine: tree.Machine, scope: Scope) -> tuple[m.Reaction, ...]:
    at_once = tuple(rule for rule in machine.plant if rule.interval.at_once)
    acting: tuple[tree.Trip | tree.PlantRule, ...] = (*machine.trips, *at_once)
    return tuple(
        m.Reaction(
            name=rule.name,
            is_trip=isinstance(rule, tree.Trip),
            when=scope.powered(rule.when) if isinstance(rule, tree.Trip) else scope.guard(rule.when),
            program=scope.program(rule.effects),
            line=rule.span.line,
        )
        for rule in acting
    )
