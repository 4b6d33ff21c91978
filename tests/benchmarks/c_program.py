"""Writes `machine.h` for `search.c`: one machine packed into 64-bit words, its starts, steps, tick and tests as C."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import count
from math import prod

from seqcheck.model.expression import TRUE, Expression, conjunction, reads
from seqcheck.model.model import MOST_ROUNDS, Hazard, Model, Program, Reachable, Timer, TimerKind
from tests.benchmarks.c_expression import OPERATIONS, CWriter
from tests.benchmarks.c_width import width

WORD, FIRST_WORD = 64, 63


@dataclass(frozen=True, slots=True, kw_only=True)
class Field:
    """Where a variable lies: its word, its lowest bit there, its mask; the value stored is that above *lowest*."""

    word: int
    shift: int
    mask: int
    lowest: int


def laid_out(model: Model) -> tuple[tuple[Field, ...], int]:
    """Place the variables one after the other, none across two words; return how many words they take."""
    fields, word, used = [], 0, 0
    for variable in model.variables:
        bits = (variable.highest - variable.lowest).bit_length()
        if used + bits > (WORD if word else FIRST_WORD):
            word, used = word + 1, 0
        fields.append(Field(word=word, shift=used, mask=(1 << bits) - 1, lowest=variable.lowest))
        used += bits
    return tuple(fields), word + 1


def asked_of(model: Model) -> Iterator[tuple[int, Expression]]:
    """Yield what a search tells the least steps to: properties by number, with the condition of a hazard or a goal."""
    for number, p in enumerate(model.properties):
        match p.rule:
            case Hazard():
                yield number, p.rule.must_not_be.test
            case Reachable():
                yield number, p.rule.goal.test
            case _:
                continue


def indented(lines: Iterable[str]) -> list[str]:
    """Return lines moved to the right."""
    return ["    " + line for line in lines]


class CProgram:
    """Writes the source for one model."""

    def __init__(self, model: Model) -> None:
        self._model = model
        self._fields, self._words = laid_out(model)
        self._fresh: dict[int, str] = {}
        self._numbers = count()
        self._writer = CWriter(model, lambda i: self._fresh.get(i, f"s.v{i}"))
        self._timed = bool(model.timers or model.clocks)
        self._stirring = self._what_stirs()

    def source(self) -> str:
        """Return the text of the file."""
        numbers = [number for number, _ in asked_of(self._model)]
        lines = [
            f"typedef int{width(self._model)}_t num;",
            OPERATIONS,
            f"enum {{ WORDS = {self._words}, STEPS = {len(self._model.steps)} }};",
            f"enum {{ TESTS = {len(numbers)}, TIMED = {int(self._timed)} }};",
            f"static const int test_numbers[] = {{{', '.join(map(str, [*numbers, -1]))}}};",
            "typedef struct { uint64_t w[WORDS]; } Key;",
            f"typedef struct {{ num {', '.join(f'v{i}' for i in range(len(self._fields)))}; }} State;",
            *self._packing(),
            *self._settle(),
            *self._starts(),
            *self._take_steps(),
            *self._take_tick(),
            *self._judge(),
        ]
        return "\n".join(lines) + "\n"

    def _what_stirs(self) -> frozenset[int]:
        """Return the variables that settling reads or writes: a step that writes none of them leaves a settled state."""
        model = self._model
        read: list[Expression] = [timer.input.test for timer in model.timers]
        read += [clock.when for clock in model.clocks]
        for reaction in model.reactions:
            read += [reaction.when.test, *(value for assign in reaction.program for value in assign.values)]
        flags = {flag for sensor in model.sensors for flag, _ in sensor.stuck}
        return frozenset(flags | self._written()).union(*(reads(expression, model.sensor_values) for expression in read))

    def _written(self) -> set[int]:
        """Return the variables that a round of settling may write."""
        targets = {target for reaction in self._model.reactions for assign in reaction.program for target in assign.targets}
        return targets | {timer.variable for timer in self._model.timers}

    def _packing(self) -> list[str]:
        fields = tuple(enumerate(self._fields))
        unpack = [f"s.v{i} = (num)(key->w[{f.word}] >> {f.shift} & {f.mask}u) + ({f.lowest});" for i, f in fields]
        pack = [f"key.w[{f.word}] |= (uint64_t)(s.v{i} - ({f.lowest})) << {f.shift};" for i, f in fields]
        return [
            *["static inline State unpack(const Key *key) {", *indented(["State s;", *unpack, "return s;"]), "}"],
            "static inline Key pack(State s) {",
            *indented(["Key key = {{UINT64_C(1) << 63}};", *pack, "return key;"]),
            "}",
        ]

    def _program(self, program: Program, give_up: str) -> list[str]:
        """Return lines that work out what a program writes, under fresh names; *give_up* follows where it fails."""
        lines: list[str] = []
        for assign in program:
            values = [self._writer.write(value) for value in assign.values]
            fallible = self._writer.may_fail(*assign.values)
            names = [f"x{target}_{next(self._numbers)}" for target in assign.targets]
            lines += ["bad = 0;"] if fallible else []
            lines += [f"const num {name} = {value};" for name, value in zip(names, values, strict=True)]
            lines += [f"if (bad) {give_up};"] if fallible else []
            for target, name in zip(assign.targets, names, strict=True):
                variable = self._model.variables[target]
                if not assign.bounded:
                    lines += [f"if ({name} < {variable.lowest} || {name} > {variable.highest}) {give_up};"]
            self._fresh |= dict(zip(assign.targets, names, strict=True))
        return lines

    def _condition(self, *tests: Expression, failing: str = "break") -> list[str]:
        """Return lines that break unless all of some conditions hold; *failing* follows where one has no value."""
        test = conjunction(*tests)
        source = self._writer.write(test)
        if not self._writer.may_fail(test):
            return [f"if (!{source}) break;"]
        name = f"c{next(self._numbers)}"
        return ["bad = 0;", f"const num {name} = {source};", f"if (bad) {failing};", f"if (!{name}) break;"]

    def _value(self, name: str, value: Expression, give_up: str) -> list[str]:
        """Return lines that put a value into a new name."""
        line = f"const num {name} = {self._writer.write(value)};"
        return ["bad = 0;", line, f"if (bad) {give_up};"] if self._writer.may_fail(value) else [line]

    def _settle(self) -> list[str]:
        """Return the lines of `settle`: whether a rest is reached; each timer has a flag that says that it counts a tick."""
        model = self._model
        written = sorted(self._written())
        flags = [f"int a{timer.variable}" for timer in model.timers]
        counted = " || ".join(f"a{timer.variable}" for timer in model.timers) or "0"
        body = [f"const num b{i} = s.v{i};" for i in written] + [f"const int counted = {counted};"]
        body += [line for timer in model.timers for line in self._timer(timer)]
        for reaction in model.reactions:
            body += ["do {", *indented(self._condition(reaction.when.test, failing="return 0"))]
            body += [*indented([*self._program(reaction.program, "return 0"), *self._stored()]), "} while (0);"]
        unchanged = " && ".join([*(f"b{i} == s.v{i}" for i in written), "!counted"])
        ending = [line for clock in model.clocks for line in self._reset(clock.variable, clock.when)]
        lines = ["State s = *out;", f"for (int round = 0; round < {MOST_ROUNDS}; round++) {{", *indented(body)]
        resting = [f"if ({unchanged}) {{", *indented([*ending, "*out = s;", "return 1;"]), "}"]
        lines += [*indented(resting), "}", "return 0;"]
        return [f"static int settle({', '.join(['State *out', *flags])}) {{", *indented(lines), "}"]

    def _stored(self) -> list[str]:
        """Return lines that put the fresh values into the state, and forget their names."""
        lines = [f"s.v{target} = {name};" for target, name in self._fresh.items()]
        self._fresh = {}
        return lines

    def _timer(self, timer: Timer) -> list[str]:
        i, now = timer.variable, f"s.v{timer.variable}"
        lines = [*self._value(f"i{i}", timer.input.test, "return 0"), f"{now} += a{i};", f"a{i} = 0;"]
        match timer.kind:
            case TimerKind.TON:
                return [*lines, f"if (!i{i}) {now} = 0;"]
            case TimerKind.TOF:
                return [*lines, f"if (i{i}) {now} = 0;"]
            case TimerKind.TP:
                over = f"else if ({now} == {timer.pt + 1} && !i{i}) {now} = 0;"
                return [*lines, f"if ({now} == 0 && i{i}) {now} = 1;", over]

    def _reset(self, place: int, when: Expression) -> list[str]:
        return [*self._value(f"k{place}", when, "return 0"), f"if (!k{place}) s.v{place} = 0;"]

    def _settled(self, flags: Sequence[str]) -> str:
        return f"settle({', '.join(['&t', *flags])})"

    def _starts(self) -> list[str]:
        """Return the lines of `start_count` and `start`: whether the start of a number settles, and its state."""
        lines = ["State t;"]
        for i, variable in enumerate(self._model.variables):
            values, choices = ", ".join(map(str, variable.starts)), len(variable.starts)
            lines += [f"t.v{i} = (const num[]){{{values}}}[number % {choices}];", f"number /= {choices};"]
        lines += [f"if (!{self._settled(['0'] * len(self._model.timers))}) return 0;", "*key = pack(t);", "return 1;"]
        starts = prod(len(variable.starts) for variable in self._model.variables)
        return [
            f"static uint64_t start_count(void) {{ return {starts}; }}",
            *["static int start(uint64_t number, Key *key) {", *indented(lines), "}"],
        ]

    def _take_steps(self) -> list[str]:
        body = ["const State s = unpack(from);", "int n = 0;"]
        for step in self._model.steps:
            lines = self._condition(step.ready) if step.ready != TRUE else []
            lines += self._condition(*(guard.test for guard in step.guards))
            lines += self._program(step.program, "break")
            lines += self._settling_successor() if self._stirring & set(self._fresh) else self._plain_successor()
            self._fresh = {}
            body += ["do {", *indented(lines), "} while (0);"]
        return ["static inline int take_steps(const Key *from, Key *next) {", *indented([*body, "return n;"]), "}"]

    def _plain_successor(self) -> list[str]:
        """Return lines that change the fields written and nothing else."""
        lines = ["next[n] = *from;"]
        for word in sorted({self._fields[target].word for target in self._fresh}):
            here = [(self._fields[t], name) for t, name in self._fresh.items() if self._fields[t].word == word]
            mask = sum(field.mask << field.shift for field, _ in here)
            parts = [f"(uint64_t)({name} - ({field.lowest})) << {field.shift}" for field, name in here]
            lines += [f"next[n].w[{word}] = (from->w[{word}] & ~UINT64_C({mask})) | {' | '.join(parts)};"]
        return [*lines, "n++;"]

    def _settling_successor(self) -> list[str]:
        moved = [f"t.v{target} = {name};" for target, name in self._fresh.items()]
        flags = ["0"] * len(self._model.timers)
        return ["State t = s;", *moved, f"if (!{self._settled(flags)}) break;", "next[n++] = pack(t);"]

    def _take_tick(self) -> list[str]:
        model = self._model
        lines = ["const State s = unpack(from);", "State t = s;"]
        for clock in model.clocks:
            i = clock.variable
            lines += self._value(f"k{i}", clock.when, "return 0")
            lines += [f"if (k{i} && s.v{i} == {clock.latest}) return 0;"] if clock.latest is not None else []
            lines += [f"if (k{i}) t.v{i} = least(s.v{i} + 1, {clock.most});"]
        for timer in model.timers:
            i = timer.variable
            if timer.kind is TimerKind.TP:
                lines += [f"const int a{i} = s.v{i} >= 1 && s.v{i} <= {timer.pt};"]
                continue
            wanted = "" if timer.kind is TimerKind.TON else "!"
            lines += self._value(f"i{i}", timer.input.test, "return 0")
            lines += [f"const int a{i} = s.v{i} < {timer.pt} && {wanted}i{i};"]
        flags = [f"a{timer.variable}" for timer in model.timers]
        lines += [f"if (!{self._settled(flags)}) return 0;", "next[0] = pack(t);", "return 1;"]
        return ["static inline int take_tick(const Key *from, Key *next) {", *indented(lines), "}"]

    def _judge(self) -> list[str]:
        """Return the lines of `judge`: notes the layer of each test that is met for the first time."""
        body = ["const State s = unpack(key);", "(void)s;", "(void)met;", "(void)layer;"]
        for place, (_, test) in enumerate(asked_of(self._model)):
            source = self._writer.write(test)
            met = f"{source} && !bad" if self._writer.may_fail(test) else source
            body += [f"if (met[{place}] < 0) {{", "    bad = 0;", f"    if ({met}) met[{place}] = layer;", "}"]
        return ["static inline void judge(const Key *key, int64_t layer, int64_t *met) {", *indented(body), "}"]


def program(model: Model) -> str:
    """Return the text of `machine.h` for a model."""
    return CProgram(model).source()
