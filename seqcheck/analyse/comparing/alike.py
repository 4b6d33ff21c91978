"""Tells without a search whether two machines are the same: equal in all but names, texts, lines and order.

Two equal forms mean the same; two that differ may mean the same all the same.
"""

from collections.abc import Mapping, Sequence
from typing import TypeAlias

from msgspec import Struct

from seqcheck.analyse.comparing.joining import Joined, Matched
from seqcheck.model.expression import Apply, Const, Expression, Load, Op, Sense
from seqcheck.model.model import Forbid, Guard, Model, Only, Program, Rule, condition_of
from seqcheck.search.comparing.pair import Side

Form: TypeAlias = object
"""Something that can be compared and hashed."""

UNORDERED = frozenset({Op.AND, Op.OR, Op.XOR, Op.EQUAL, Op.UNEQUAL, Op.TIMES, Op.PLUS, Op.MIN, Op.MAX})


class Numbers:
    """Numbers forms: equal ones get the same number."""

    def __init__(self) -> None:
        self._known: dict[Form, int] = {}
        self._count = 0

    def of(self, form: Form) -> int:
        """Return the number of a form."""
        return self._known.setdefault(form, self.unique() if form not in self._known else 0)

    def unique(self) -> int:
        """Return a number that no form has."""
        self._count += 1
        return self._count


class Spelling(Struct, frozen=True, kw_only=True):
    """How one machine's variables and steps are named in forms. *codes* are those of variables that it keeps in its own way."""

    names: Mapping[int, Form]
    codes: Mapping[int, Mapping[int, int]]
    labels: Mapping[int, int]


def spelling(joined: Joined, model: Model, side: Side) -> Spelling:
    """Return the spelling of one of two machines, and of one with an observer besides."""
    matched = {(m.old if side is Side.OLD else m.new): m for m in joined.matched}
    labels = {(one.old if side is Side.OLD else one.new): place for place, one in enumerate(joined.pair.labels)}
    size = len(joined.old_places if side is Side.OLD else joined.new_places)
    names: dict[int, Form] = {n: ("observer", n - size) if n >= size else (side, n) for n in range(len(model.variables))}
    names |= {place: ("both", m.old) for place, m in matched.items()}
    return Spelling(
        names=names,
        codes={place: codes_at(model, place, m, side) for place, m in matched.items() if m.codes is not None},
        labels={number: place for number, place in labels.items() if number is not None},
    )


def codes_at(model: Model, place: int, matched: Matched, side: Side) -> dict[int, int]:
    """Return the code of each value of a variable."""
    codes = matched.codes or ((), ())
    return dict(enumerate(codes[0 if side is Side.OLD else 1], model.variables[place].lowest))


class Forms:
    """Turns what one machine says into forms."""

    def __init__(self, model: Model, spelled: Spelling, numbers: Numbers) -> None:
        self._model = model
        self._spelled = spelled
        self._numbers = numbers
        self._known: dict[int, tuple[Expression, int]] = {}
        self._sensors: dict[int, int] = {}

    def expression(self, expression: Expression) -> int:
        """Return the number of an expression's form."""
        known = self._known.get(id(expression))
        if known is None:
            known = self._known[id(expression)] = (expression, self._expression(expression))
        return known[1]

    def _expression(self, expression: Expression) -> int:
        match expression:
            case Const(value=value):
                return self._numbers.of(value)
            case Load(variable=variable) if variable in self._spelled.codes:
                return self._numbers.unique()
            case Load(variable=variable):
                return self._numbers.of(("load", self._spelled.names[variable]))
            case Sense(sensor=sensor):
                if sensor not in self._sensors:
                    self._sensors[sensor] = self.expression(self._model.sensors[sensor].value)
                return self._sensors[sensor]
            case Apply(op=op, operands=(Load(variable=variable), Const(value=value))) if variable in self._spelled.codes:
                return self._compared(op, variable, value)
            case Apply(op=op, operands=operands):
                inner = [self.expression(operand) for operand in operands]
                return self._numbers.of((op, tuple(sorted(inner) if op in UNORDERED else inner)))

    def _compared(self, op: Op, variable: int, value: int) -> int:
        code = self._spelled.codes[variable].get(value)
        if op not in {Op.EQUAL, Op.UNEQUAL} or code is None:
            return self._numbers.unique()
        return self._numbers.of((op, "code", self._spelled.names[variable], code))

    def program(self, program: Program) -> Form:
        """Return the form of a program."""
        return tuple(
            frozenset((self._spelled.names[t], self._written(t, v)) for t, v in zip(a.targets, a.values, strict=True))
            for a in program
        )

    def _written(self, target: int, value: Expression) -> Form:
        if target not in self._spelled.codes:
            return self.expression(value)
        if isinstance(value, Const) and value.value in self._spelled.codes[target]:
            return "code", self._spelled.codes[target][value.value]
        return self._numbers.unique()

    def guards(self, guards: Sequence[Guard]) -> Form:
        """Return the form of conditions that all must hold."""
        return frozenset(self.expression(guard.test) for guard in guards)

    def behaviour(self) -> Form:
        """Return the form of all that a machine does."""
        model, names = self._model, self._spelled.names
        return (
            model.tick_s,
            frozenset((names[n], self._starts(n)) for n in range(len(model.variables))),
            tuple((t.kind, names[t.variable], self.expression(t.input.test), t.pt) for t in model.timers),
            frozenset((names[c.variable], self.expression(c.when), c.most, c.latest) for c in model.clocks),
            tuple((self.expression(r.when.test), self.program(r.program)) for r in model.reactions),
            frozenset(
                (self._spelled.labels[n], self.expression(s.ready), self.guards(s.guards), self.program(s.program))
                for n, s in enumerate(model.steps)
            ),
        )

    def _starts(self, place: int) -> Form:
        variable = self._model.variables[place]
        codes = self._spelled.codes.get(place)
        if codes is None:
            return variable.lowest, variable.highest, frozenset(variable.starts)
        return frozenset(codes.values()), frozenset(codes[start] for start in variable.starts)

    def rule(self, rule: Rule) -> Form:
        """Return the form of what a property asks, without that of its condition."""
        match rule:
            case Forbid(step=step):
                return type(rule), self._spelled.labels[step]
            case Only(steps=steps):
                return type(rule), frozenset(self._spelled.labels[step] for step in steps)
            case _:
                return (type(rule),)

    def condition(self, rule: Rule) -> int:
        """Return the number of the form of a property's condition."""
        return self.expression(condition_of(rule).test)

    def observed(self) -> Form:
        """Return the form of what an observer asks."""
        model, names = self._model, self._spelled.names
        mine = [n for n, name in names.items() if isinstance(name, tuple) and name[0] == "observer"]
        return (
            tuple((names[n], self._starts(n)) for n in mine),
            tuple(self.program(observer.program) for observer in model.observers),
            frozenset(
                (names[c.variable], self.expression(c.when), c.most, c.latest) for c in model.clocks if c.variable in mine
            ),
            tuple((self.rule(p.rule), self.condition(p.rule)) for p in model.properties),
        )
