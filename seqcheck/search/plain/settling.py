"""Writes the function that settles a state, as Python source.

`settle(v0, v1, …, a7=0, …)` returns the settled state, or None after putting the number of what failed into `failed[0]`.
There is one *a* for each timer: 1 if it counts a tick in the first round. After FEW_ROUNDS the function hands over to `slow`,
which asks the plain definition.
"""

from seqcheck.model.expression import Expression, reads
from seqcheck.model.model import Clock, Hazard, Model, Observer, Program, Timer, TimerKind
from seqcheck.search.plain.source import Fallibility, Writer

FEW_ROUNDS = 100


def indented(lines: list[str], levels: int = 1) -> list[str]:
    """Return lines moved to the right."""
    return [" " * levels + line for line in lines]


def local(variable: int) -> str:
    """Name a variable inside generated functions."""
    return f"v{variable}"


def tick_flag(timer: Timer) -> str:
    """Name what tells `settle` that a timer counts a tick."""
    return f"a{timer.variable}"


class Sites:
    """Numbers the places in the generated code where a step can fail."""

    def __init__(self) -> None:
        self._count = 0

    def next(self) -> int:
        """Return a number not given before."""
        self._count += 1
        return self._count


class Settling:
    """Knows what settling a model reads and writes, and writes its source."""

    def __init__(self, model: Model, fallibility: Fallibility, sites: Sites) -> None:
        self._model = model
        self._fallibility = fallibility
        self._sites = sites
        self._writer = Writer(model, fallibility, local)
        self.written = self._written()
        self.concerned = self._concerned()
        self.needed = bool(model.reactions or model.timers or model.clocks or model.observers)

    def _written(self) -> frozenset[int]:
        targets = {t for reaction in self._model.reactions for a in reaction.program for t in a.targets}
        return frozenset(targets | {timer.variable for timer in self._model.timers})

    def _concerned(self) -> frozenset[int]:
        """Return the variables that a step must have written for settling to do anything."""
        model = self._model
        read: list[Expression] = [timer.input.test for timer in model.timers]
        read += [clock.when for clock in model.clocks]
        for reaction in model.reactions:
            read += [reaction.when.test, *(value for a in reaction.program for value in a.values)]
        for observer in model.observers:
            read += [value for a in observer.program for value in a.values]
        found = self.written | {clock.variable for clock in model.clocks}
        found = found.union(t for observer in model.observers for a in observer.program for t in a.targets)
        return found.union(*(reads(expression, model.sensor_values) for expression in read), self._stuck_flags())

    def _stuck_flags(self) -> set[int]:
        return {flag for sensor in self._model.sensors for flag, _ in sensor.stuck}

    def hazards(self, written: frozenset[int]) -> list[tuple[int, Expression]]:
        """Return the hazards, with their numbers, that writing the variables *written* can make true."""
        return [
            (number, p.rule.must_not_be.test)
            for number, p in enumerate(self._model.properties)
            if isinstance(p.rule, Hazard)
            and (reads(p.rule.must_not_be.test, self._model.sensor_values) | self._stuck_flags()) & written
        ]

    def source(self) -> list[str]:
        """Return the lines of the function."""
        everything = [local(i) for i in range(len(self._model.variables))]
        before = ", ".join(local(i) for i in sorted(self.written))
        body = ["changed = False", f"before = ({before},)" if before else "before = ()"]
        body += [line for timer in self._model.timers for line in self._timer(timer)]
        body += self._moment(frozenset(timer.variable for timer in self._model.timers))
        for number in range(len(self._model.reactions)):
            body += self._reaction(number)
        body += [f"if not changed or before == ({before},):" if before else "if True:", " break"]
        clocks = [line for clock in self._model.clocks for line in self._clock(clock)]
        lines = [*self._moment(self.written), f"for _ in range({FEW_ROUNDS}):", *indented(body)]
        lines += [f"else: return slow(({', '.join(everything)},))"]
        observers = [line for observer in self._model.observers for line in self._observer(observer)]
        lines += [*clocks, *observers, f"return ({', '.join(everything)},)"]
        lines = ["try:", *indented(lines), "except Impossible: return None"]
        flags = [f"{tick_flag(timer)}=0" for timer in self._model.timers]
        return [f"def settle({', '.join((*everything, *flags))}):", *indented(lines)]

    def _moment(self, written: frozenset[int]) -> list[str]:
        """Return lines that note the hazards that hold at a moment before the rest is reached."""
        return [line for number, test in self.hazards(written) for line in self._noted(number, test)]

    def _noted(self, number: int, test: Expression) -> list[str]:
        line = f"if {self._writer.write(test)}: passing[{number}] = 1"
        return ["try:", f" {line}", "except Impossible: pass"] if self._fallibility.of(test) else [line]

    def held(self, test: Expression) -> tuple[list[str], str]:
        """Return lines that evaluate a condition that may have no value whatever follows, and the source to test it by."""
        source = self._writer.write(test)
        return ([*self._risky(test), f"q = {source}"], "q") if self._fallibility.of(test) else ([], source)

    def _risky(self, *expressions: Expression) -> list[str]:
        """Return a line that says what fails if one of the expressions, evaluated next, has no value."""
        return [f"failed[0] = {self._sites.next()}"] if self._fallibility.of(*expressions) else []

    def _timer(self, timer: Timer) -> list[str]:
        now, counts = local(timer.variable), tick_flag(timer)
        lines, in_ = self.held(timer.input.test)
        if not lines and timer.variable in reads(timer.input.test, self._model.sensor_values):
            lines, in_ = [f"q = {in_}"], "q"
        lines += [f"if {counts}: {now} += 1; {counts} = 0; changed = True"]
        match timer.kind:
            case TimerKind.TON:
                return [*lines, f"if {now} and not {in_}: {now} = 0; changed = True"]
            case TimerKind.TOF:
                return [*lines, f"if {now} and {in_}: {now} = 0; changed = True"]
            case TimerKind.TP:
                over = f"elif {now} == {timer.pt + 1} and not {in_}: {now} = 0; changed = True"
                return [*lines, f"if {now} == 0 and {in_}: {now} = 1; changed = True", over]

    def _clock(self, clock: Clock) -> list[str]:
        lines, when = self.held(clock.when)
        return [*lines, f"if {local(clock.variable)} and not {when}: {local(clock.variable)} = 0"]

    def _observer(self, observer: Observer) -> list[str]:
        values = [value for assign in observer.program for value in assign.values]
        return [*self._risky(*values), *assigned(self._model, self._writer, observer.program, self._sites, changed=[])]

    def _reaction(self, number: int) -> list[str]:
        reaction = self._model.reactions[number]
        written = frozenset(t for assign in reaction.program for t in assign.targets)
        body = [f"acted[{number}] = 1"]
        body += assigned(self._model, self._writer, reaction.program, self._sites, changed=self._moment(written))
        values = [value for assign in reaction.program for value in assign.values]
        body = [*self._risky(*values), *body]
        return [*self._risky(reaction.when.test), f"if {self._writer.write(reaction.when.test)}:", *indented(body)]


def assigned(model: Model, writer: Writer, program: Program, sites: Sites, *, changed: list[str]) -> list[str]:
    """Return lines that run a program on the local names inside `settle`; *changed* follows a change."""
    lines: list[str] = []
    for assign in program:
        fresh = [f"x{target}" for target in assign.targets]
        lines += [f"{x} = {writer.write(value)}" for x, value in zip(fresh, assign.values, strict=True)]
        lines += range_checks(model, assign.targets, fresh, bounded=assign.bounded, sites=sites)
        differs = " or ".join(f"{x} != {local(t)}" for x, t in zip(fresh, assign.targets, strict=True))
        moved = [f"{local(t)} = {x}" for x, t in zip(fresh, assign.targets, strict=True)]
        lines += [f"if {differs}:", *indented([*moved, "changed = True", *changed])]
    return lines


def range_checks(model: Model, targets: tuple[int, ...], fresh: list[str], *, bounded: bool, sites: Sites) -> list[str]:
    """Return lines that give up where a value is outside its variable's range."""
    if bounded:
        return []
    lines = []
    for target, name in zip(targets, fresh, strict=True):
        variable = model.variables[target]
        lines += [f"if not {variable.lowest} <= {name} <= {variable.highest}:"]
        lines += [f" failed[0] = {sites.next()}", " return None"]
    return lines
