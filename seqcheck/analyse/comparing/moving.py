"""Moves a machine onto other places: what it reads and writes, and its sensors, by new numbers."""

from collections.abc import Sequence

from msgspec.structs import replace

from seqcheck.model.expression import Apply, Const, Expression, Load, Sense
from seqcheck.model.model import (
    Elsewhere,
    Forbid,
    Guard,
    Hazard,
    Model,
    Only,
    Program,
    Reachable,
    Recoverable,
    Rule,
    Sensor,
    Variable,
)


class Moving:
    """Moves one machine. *places* are the new ones of its variables, *first_sensor* the new number of its first sensor."""

    def __init__(self, places: Sequence[int], first_sensor: int) -> None:
        self._places = places
        self._first_sensor = first_sensor
        self._known: dict[int, tuple[Expression, Expression]] = {}

    def expression(self, expression: Expression) -> Expression:
        """Move an expression."""
        known = self._known.get(id(expression))
        if known is None:
            known = self._known[id(expression)] = (expression, self._moved(expression))
        return known[1]

    def _moved(self, expression: Expression) -> Expression:
        match expression:
            case Const():
                return expression
            case Load(variable=variable):
                return Load(self._places[variable])
            case Sense(sensor=sensor):
                return Sense(sensor + self._first_sensor)
            case Apply(op=op, operands=operands):
                return Apply(op, tuple(map(self.expression, operands)))

    def guard(self, guard: Guard) -> Guard:
        """Move a condition."""
        return replace(guard, test=self.expression(guard.test))

    def program(self, program: Program) -> Program:
        """Move a program."""
        return tuple(
            replace(
                assign,
                targets=tuple(self._places[target] for target in assign.targets),
                values=tuple(map(self.expression, assign.values)),
            )
            for assign in program
        )

    def sensor(self, sensor: Sensor) -> Sensor:
        """Move a sensor."""
        return replace(sensor, value=self.expression(sensor.value))

    def rule(self, rule: Rule) -> Rule:
        """Move what a property says."""
        match rule:
            case Hazard(must_not_be=guard):
                return replace(rule, must_not_be=self.guard(guard))
            case Reachable(goal=guard) | Recoverable(goal=guard):
                return replace(rule, goal=self.guard(guard))
            case Forbid(during=guard):
                return replace(rule, during=self.guard(guard))
            case Only(makes=guard):
                return replace(rule, makes=self.guard(guard))
            case Elsewhere(when=guard):
                return replace(rule, when=self.guard(guard))
            case _:
                raise TypeError(rule)

    def model(self, model: Model, variables: tuple[Variable, ...], sensors: tuple[Sensor, ...]) -> Model:
        """Move a machine."""
        place = self._places
        return replace(
            model,
            variables=variables,
            sensors=sensors,
            timers=tuple(
                replace(
                    t,
                    variable=place[t.variable],
                    input=self.guard(t.input),
                    q=self.expression(t.q),
                    et=self.expression(t.et),
                )
                for t in model.timers
            ),
            clocks=tuple(replace(c, variable=place[c.variable], when=self.expression(c.when)) for c in model.clocks),
            reactions=tuple(replace(r, when=self.guard(r.when), program=self.program(r.program)) for r in model.reactions),
            steps=tuple(
                replace(
                    s,
                    ready=self.expression(s.ready),
                    guards=tuple(map(self.guard, s.guards)),
                    program=self.program(s.program),
                )
                for s in model.steps
            ),
            properties=tuple(replace(p, rule=self.rule(p.rule)) for p in model.properties),
        )
