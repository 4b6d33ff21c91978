"""Writes the functions that visit states, as Python source: `expand` for the search, the others for the graph it leaves.

expand(bucket, key, fresh, waits, first): visits each state of *bucket*, judges it, and puts each successor not seen before
into `seen` (with its parent) and into *fresh* (one step more) or *waits* (one tick later). Returns the number of transitions.
It may note each transition that is no fault too, *first* being the place of the first of *bucket* among the visited states.
A key is a number of steps times STEP plus a time in ticks: all of a bucket have the same.
edges(states, first, index, source, target): the transitions that are no fault, as pairs of places; *first* is that of the
first of *states*. fault_edges(states, found): appends a state, the number of a fault's step there, and where it leads.
"""

from collections.abc import Iterable
from enum import Enum

from seqcheck.model.expression import TRUE, Const, Expression, Sense, conjunction, walk
from seqcheck.model.model import Forbid, Hazard, Model, Observed, Only, Program, Reachable, Recoverable, Timer, TimerKind
from seqcheck.model.run import StepKind
from seqcheck.search.plain.settling import Settling, Sites, indented, local
from seqcheck.search.plain.source import Fallibility, Writer

TICK = -1


class Purpose(Enum):
    """What a visiting function is for."""

    EXPLORE = "expand"
    EDGES = "edges"
    FAULT_EDGES = "fault_edges"


class Expanding:
    """Writes the visiting functions of one model."""

    def __init__(self, model: Model, fallibility: Fallibility, settling: Settling, sites: Sites) -> None:
        self._model = model
        self._fallibility = fallibility
        self._settling = settling
        self._sites = sites
        self._current: dict[int, str] = {}
        self._writer = Writer(model, fallibility, lambda i: self._current.get(i, local(i)))
        self._onlys = [(n, p.rule) for n, p in enumerate(model.properties) if isinstance(p.rule, Only)]
        self._purpose = Purpose.EXPLORE
        self._notes = False
        self.timed = bool(model.timers or model.clocks)

    def expand(self, *, notes: bool) -> list[str]:
        """Return the lines of `expand`, which *notes* transitions or not."""
        self._purpose, self._notes = Purpose.EXPLORE, notes
        body = [*self._unpacked(), "was = count", "bad = jam = moved = False", *self._judged()]
        for number in range(len(self._model.steps)):
            body += self._step(number)
        if self.timed:
            body += self._tick()
        body += ["if count == was and not bad: dead.append(s)"]
        if (blocked := self._blocked()) is not None:
            body += [f"if jam and not moved and ({blocked}): jammed.append(s)"]
        each = "for i, s in enumerate(bucket, first):" if notes else "for s in bucket:"
        lines = ["count = 0", "later = key + STEP", "soon = key + 1", each, *indented(body)]
        return ["def expand(bucket, key, fresh, waits, first):", *indented([*lines, "return count"])]

    def edges(self) -> list[str]:
        """Return the lines of `edges`."""
        self._purpose = Purpose.EDGES
        body = self._unpacked()
        for number, step in enumerate(self._model.steps):
            if step.kind is not StepKind.FAULT:
                body += self._step(number)
        if self.timed:
            body += self._tick()
        lines = ["for i, s in enumerate(states, first):", *indented(body)]
        return ["def edges(states, first, index, source, target):", *indented(lines)]

    def fault_edges(self) -> list[str]:
        """Return the lines of `fault_edges`."""
        self._purpose = Purpose.FAULT_EDGES
        body = self._unpacked()
        for number, step in enumerate(self._model.steps):
            if step.kind is StepKind.FAULT:
                body += self._step(number)
        return ["def fault_edges(states, found):", *indented(["for s in states:", *indented(body)])]

    def _unpacked(self) -> list[str]:
        names = "".join(f"{local(i)}, " for i in range(len(self._model.variables)))
        self._writer.kept = {}
        lines = [f"{names}= s"]
        for number, sensor in enumerate(self._model.sensors):
            if not self._fallibility.of(sensor.value):
                self._keep(number, lines)
        return lines

    def _keep(self, number: int, lines: list[str]) -> None:
        """Hold a sensor's value in a local name, those that it reads first."""
        if number in self._writer.kept:
            return
        for part in walk(self._model.sensors[number].value):
            if isinstance(part, Sense):
                self._keep(part.sensor, lines)
        lines.append(f"t{number} = {self._writer.sensor(number)}")
        self._writer.kept[number] = f"t{number}"

    def _judged(self) -> list[str]:
        """Return lines that judge the state itself."""
        lines: list[str] = []
        for number, p in enumerate(self._model.properties):
            if isinstance(p.rule, Only):
                lines += self._valued(f"e{number}", number, p.rule.makes.test, otherwise="1")
            elif isinstance(p.rule, Forbid):
                lines += self._forbidden(number, p.rule)
            elif isinstance(p.rule, Recoverable | Reachable) and self._is_asked_of_the_graph(p.rule):
                lines += self._valued("q", number, p.rule.goal.test, otherwise="0") if self._fallible_goal(p.rule) else []
            elif (test := self._settles(p.rule)) is not None:
                lines += self._valued("q", number, test, otherwise="0")
                lines += [f"if q and open_[{number}]: open_[{number}] = 0; found[{number}] = (s, key)"]
        return lines

    def _forbidden(self, number: int, rule: Forbid) -> list[str]:
        """Return lines that judge `forbid`: where a permissive has no value, the command is not accepted."""
        accepted = conjunction(*(guard.test for guard in self._model.steps[rule.step].guards))
        lines = [f"a = {self._writer.write(accepted)}"]
        if self._fallibility.of(accepted):
            lines = ["try:", *indented(lines), "except Impossible: a = 0"]
        lines += self._valued("q", number, rule.during.test, otherwise="0")
        return [*lines, f"if q and a and open_[{number}]: open_[{number}] = 0; found[{number}] = (s, key)"]

    def _valued(self, name: str, number: int, test: Expression, *, otherwise: str) -> list[str]:
        """Return lines that evaluate a property's condition and note where it has no value."""
        line = f"{name} = {self._writer.write(test)}"
        if not self._fallibility.of(test):
            return [line]
        return ["try:", f" {line}", f"except Impossible: {name} = {otherwise}; unjudged.setdefault({number}, (s, key))"]

    def _is_asked_of_the_graph(self, rule: Recoverable | Reachable) -> bool:
        return isinstance(rule, Recoverable) or bool(self._model.faults)

    def _fallible_goal(self, rule: Recoverable | Reachable) -> bool:
        return self._fallibility.of(rule.goal.test)

    def _settles(self, rule: object) -> Expression | None:
        """Return what a state must have to settle a property: a violation, or a witness of `reachable`."""
        match rule:
            case Hazard(must_not_be=guard) | Observed(violated=guard):
                return guard.test
            case Reachable():
                return rule.goal.test
            case _:
                return None

    def _step(self, number: int) -> list[str]:
        step = self._model.steps[number]
        guards = [guard.test for guard in step.guards]
        condition = self._writer.write(conjunction(*guards))
        if step.ready != TRUE:
            condition = f"{self._writer.write(step.ready)} and {condition}"
        values = [value for assign in step.program for value in assign.values]
        body, can_fail = self._taken(step.program)
        lines = [f"if {condition}:", *indented([*body, *self._follow(number, can_fail=can_fail)])]
        if not self._fallibility.of(*guards, *values):
            return lines
        failing = [f"failed[0] = {self._sites.next()}", *self._trouble(number)]
        return ["try:", *indented(lines), "except Impossible:", *indented(failing)]

    def _taken(self, program: Program) -> tuple[list[str], bool]:
        """Return lines that put the successor into `n` (None: it failed), and whether it can fail."""
        lines: list[str] = []
        kept, checks, written = self._writer.kept, [], set()
        for assign in program:
            fresh = [self._value(t, v, lines) for t, v in zip(assign.targets, assign.values, strict=True)]
            if not assign.bounded:
                checks += [self._within(t, name) for t, name in zip(assign.targets, fresh, strict=True)]
            for target, name in zip(assign.targets, fresh, strict=True):
                self._current[target] = name
            written |= set(assign.targets)
            self._writer.kept = {}
        everything = ", ".join(self._current.get(i, local(i)) for i in range(len(self._model.variables)))
        settles = self._settling.needed and bool(written & self._settling.concerned)
        taken = f"n = settle({everything})" if settles else f"n = ({everything},)"
        self._current, self._writer.kept = {}, kept
        if not checks:
            return [*lines, taken], settles
        for place, check in enumerate(checks):
            lines += [f"{'el' if place else ''}if not {check}: failed[0] = {self._sites.next()}; n = None"]
        return [*lines, f"else: {taken}"], True

    def _value(self, target: int, value: Expression, lines: list[str]) -> str:
        if isinstance(value, Const) and value.value >= 0:
            return str(value.value)
        lines.append(f"x{target} = {self._writer.write(value)}")
        return f"x{target}"

    def _within(self, target: int, name: str) -> str:
        variable = self._model.variables[target]
        return f"{variable.lowest} <= {name} <= {variable.highest}"

    def _follow(self, number: int, *, can_fail: bool) -> list[str]:
        """Return lines that deal with the successor `n` of a step, or of a tick."""
        if self._purpose is not Purpose.EXPLORE:
            some = "n is not None and n != s" if can_fail else "n != s"
            if self._purpose is Purpose.FAULT_EDGES:
                return [f"if {some}: found.append((s, {number}, n))"]
            return [f"if {some}: source.append(i); target.append(index[n])"]
        cost = "soon" if number == TICK else "later"
        moved = ["count += 1", *self._made(number, cost), *self._discovered(number, cost)]
        if self._is_plant(number):
            moved += ["moved = True"]
        if not can_fail:
            return ["if n != s:", *indented(moved)]
        return ["if n is None:", *indented(self._trouble(number)), "elif n != s:", *indented(moved)]

    def _discovered(self, number: int, cost: str) -> list[str]:
        note = f"seen[n] = s; cost[n] = {cost}" if self.timed else "seen[n] = s"
        if self._notes:
            return self._numbered(number, note)
        if number != TICK:
            return [f"if n not in seen: {note}; fresh.append(n)"]
        return [f"if n not in seen or soon < cost.get(n, 0): {note}; waits.append(n)"]

    def _numbered(self, number: int, note: str) -> list[str]:
        """Return lines that note a transition too, and number a state that is new."""
        where = "waits" if number == TICK else "fresh"
        lines = ["p = number_of.get(n)", f"if p is None: p = number_of[n] = len(number_of); {note}; {where}.append(n)"]
        if number == TICK:
            lines.append(f"elif soon < cost.get(n, 0): {note}; waits.append(n)")
        is_fault = number != TICK and self._model.steps[number].kind is StepKind.FAULT
        return lines if is_fault else [*lines, "source.append(i); target.append(p)"]

    def _made(self, number: int, cost: str) -> list[str]:
        """Return lines that judge `only`: a step that is not allowed makes the condition true."""
        lines = []
        for p, rule in self._onlys:
            if number not in rule.steps:
                test = f"if not e{p} and {cost} < best[{p}]"
                lines += [f"{test} and truth({p}, n): best[{p}] = {cost}; made[{p}] = (s, {number})"]
        return lines

    def _trouble(self, number: int) -> list[str]:
        if self._purpose is not Purpose.EXPLORE:
            return ["pass"]
        cost = "soon" if number == TICK else "later"
        lines = [f"troubles.setdefault(({number}, failed[0]), (s, {cost}))"]
        return [*lines, "bad = jam = True" if self._is_plant(number) else "bad = True"]

    def _is_plant(self, number: int) -> bool:
        return number != TICK and self._model.steps[number].kind is StepKind.PLANT

    def _blocked(self) -> str | None:
        """Return the source of whether time must wait for a plant rule; None if it never must."""
        blocked = [
            f"({local(c.variable)} == {c.latest} and {self._writer.write(c.when)})"
            for c in self._model.clocks
            if c.latest is not None
        ]
        return " or ".join(blocked) or None

    def _tick(self) -> list[str]:
        lines = []
        for clock in self._model.clocks:
            now = local(clock.variable)
            lines += [f"x{clock.variable} = {now} + 1 if {now} < {clock.most} and {self._writer.write(clock.when)} else {now}"]
        moving = {clock.variable for clock in self._model.clocks}
        everything = [f"x{i}" if i in moving else local(i) for i in range(len(self._model.variables))]
        everything += [self._counts(timer) for timer in self._model.timers]
        lines += [f"n = settle({', '.join(everything)})", *self._follow(TICK, can_fail=True)]
        blocked = self._blocked()
        return [f"if not ({blocked}):", *indented(lines)] if blocked else lines

    def _counts(self, timer: Timer) -> str:
        """Return the source of whether a timer counts the tick."""
        now = local(timer.variable)
        if timer.kind is TimerKind.TP:
            return f"1 <= {now} <= {timer.pt}"
        in_ = self._writer.write(timer.input.test)
        return f"{now} < {timer.pt} and {in_ if timer.kind is TimerKind.TON else f'not {in_}'}"


def truths(model: Model, fallibility: Fallibility) -> list[str]:
    """Return the lines of `truth(p, n)`: whether state *n* has what `only` property *p* speaks of."""
    lines = []
    for number, p in enumerate(model.properties):
        if isinstance(p.rule, Only):
            test = Writer(model, fallibility, lambda i: f"n[{i}]").write(p.rule.makes.test)
            lines += [f"if p == {number}: return {test}"]
    body = ["try:", *indented([*lines, "return False"]), "except Impossible: return False"]
    return ["def truth(p, n):", *indented(body)]


def first_true(model: Model, fallibility: Fallibility, tests: Iterable[Expression]) -> list[str]:
    """Return the lines of functions `some0`, `some1`, …: whether any of a list of states has each of *tests*."""
    writer = Writer(model, fallibility, lambda i: f"s[{i}]")
    lines = []
    for number, test in enumerate(tests):
        found = f"if {writer.write(test)}: return True"
        caught = ["try:", f" {found}", "except Impossible: pass"] if fallibility.of(test) else [found]
        lines += [f"def some{number}(states):", " for s in states:", *indented(caught, 2), " return False"]
    return lines


def all_true(model: Model, fallibility: Fallibility, test: Expression) -> list[str]:
    """Return the lines of `places(states)`: the places of the states that have *test*."""
    writer = Writer(model, fallibility, lambda i: f"s[{i}]")
    caught = ["try: q = " + writer.write(test), "except Impossible: q = False", "if q: found.append(i)"]
    lines = ["found = []", "for i, s in enumerate(states):", *indented(caught), "return found"]
    return ["def places(states):", *indented(lines)]
