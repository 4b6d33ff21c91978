"""Takes single steps, plant moves and ticks fast: functions generated for one model, over numbered states.

Each state gets a number when it is first met; results are kept. The generated functions reuse what the `plain` engine writes
for settling; `tests/analyse/procedures` holds them against the plain definition.
"""

from collections.abc import Callable, Iterable
from typing import TypeAlias, cast

from msgspec.structs import replace

from seqcheck.model.expression import TRUE, Const, Expression, conjunction
from seqcheck.model.model import MOST_ROUNDS, Hazard, Model, Program, State, Step, Timer, TimerKind
from seqcheck.model.run import StepKind
from seqcheck.model.semantics import Failed, settle
from seqcheck.search.plain.program import Board, namespace
from seqcheck.search.plain.settling import FEW_ROUNDS, Settling, Sites, indented, local
from seqcheck.search.plain.source import Fallibility, Writer

FAILED = -(1 << 62)
"""A step, or a tick, that is never completed; a condition that has no value."""

NOT_YET = -(1 << 61)
"""A panel item that is there already, a plant rule that has not waited long enough, a tick while a plant rule must happen."""

Function: TypeAlias = Callable[[State], int]
Listing: TypeAlias = Callable[[State], list[tuple[int, int]]]
Picker: TypeAlias = Callable[[Iterable[int], list[State]], list[int]]


class Moves:
    """What one machine does, without faults. *states* are those met so far, by their numbers.

    A step's function returns the number of the state after it, FAILED, NOT_YET, or, for a step that is refused, minus a sum
    of 2^g over its guards *g* that do not hold.
    """

    def __init__(self, model: Model) -> None:
        self.model = model
        self.states: list[State] = []
        self._numbers: dict[State, int] = {}
        self._fallibility = Fallibility(model)
        self._sites = Sites()
        self._settling = Settling(replace(model, properties=()), self._fallibility, self._sites)
        self._current: dict[int, str] = {}
        self._writer = Writer(model, self._fallibility, lambda place: self._current.get(place, local(place)))
        self._reader = Writer(model, self._fallibility, lambda place: f"s[{place}]")
        board = Board(0, len(model.reactions))
        self._names = namespace(board, self._slow)
        self._names |= {"numbers": self._numbers, "rest": self._rest, "FAILED": FAILED, "NOT_YET": NOT_YET}
        self._settled: Callable[..., State | None] = self._slow
        if self._settling.needed:
            self._run(self._settling.source())
            self._settled = cast(Callable[..., State | None], self._names["settle"])
        self._steps: dict[int, Function] = {}
        self._truths: dict[int, tuple[Expression, Function]] = {}
        self._pickers: dict[Expression, Picker] = {}
        self._plant: list[tuple[tuple[int, int], ...] | None] = []
        self._ticks: list[int | None] = []
        self._hazards: list[int | None] = []
        self._listed_plant: Listing | None = None
        self._tick: Function | None = None
        self._everything: Listing | None = None
        found = [(n, p.rule.must_not_be.test) for n, p in enumerate(model.properties) if isinstance(p.rule, Hazard)]
        self.hazards = tuple(number for number, _ in found)
        self._tests = tuple(test for _, test in found)
        self._held: Function | None = None

    # --- states ---
    def number(self, state: State) -> int:
        """Return the number of a settled state."""
        number = self._numbers.get(state)
        if number is None:
            number = self._numbers[state] = len(self.states)
            self.states.append(state)
            self._plant.append(None)
            self._ticks.append(None)
            self._hazards.append(None)
        return number

    def _rest(self, values: State, *counted: int) -> int:
        """Settle values that are no known settled state, and return the state's number."""
        if self._settling.needed:
            settled = self._settled(*values, *counted)
            if settled is None:
                return FAILED
            values = settled
        return self.number(values)

    def _slow(self, state: State) -> State | None:
        try:
            return settle(self.model, state, most_rounds=MOST_ROUNDS - FEW_ROUNDS)
        except Failed:
            return None

    # --- what happens ---
    def step(self, number: int, state: int) -> int:
        """Try one step in a state."""
        function = self._steps.get(number)
        if function is None:
            name = f"step{number}"
            self._run([f"def {name}(s):", *indented([*self._unpacked(), *self._alone(self.model.steps[number])])])
            function = self._steps[number] = cast(Function, self._names[name])
        return function(self.states[state])

    def plant(self, state: int) -> tuple[tuple[int, int], ...]:
        """Return what the plant can do at this moment: step numbers and the states after them, or FAILED."""
        known = self._plant[state]
        if known is None:
            if self._listed_plant is None:
                self._listed_plant = self._listing("plant", lambda step: step.kind is StepKind.PLANT)
            moves = self._listed_plant(self.states[state])
            known = self._plant[state] = tuple(move for move in moves if move[1] != state)
        return known

    def everything(self, state: int) -> list[tuple[int, int]]:
        """Return all steps that change the state, but faults and what fails, and the states after them."""
        if self._everything is None:
            self._everything = self._listing("everything", lambda step: step.kind is not StepKind.FAULT)
        moves = self._everything(self.states[state])
        return [move for move in moves if move[1] != state and move[1] != FAILED]

    def tick(self, state: int) -> int:
        """Let a tick pass: the state after it, FAILED, or NOT_YET where a plant rule must happen first."""
        known = self._ticks[state]
        if known is None:
            if self._tick is None:
                self._run(["def tick(s):", *indented([*self._unpacked(), *self._tick_lines()])])
                self._tick = cast(Function, self._names["tick"])
            known = self._ticks[state] = self._tick(self.states[state])
        return known

    # --- what holds ---
    def truth(self, test: Expression, state: int) -> int:
        """Return 1 or 0, or FAILED where a condition has no value."""
        known = self._truths.get(id(test))
        if known is None:
            known = self._truths[id(test)] = (test, self._condition(f"truth{len(self._truths)}", test))
        return known[1](self.states[state])

    def having(self, test: Expression, states: Iterable[int]) -> list[int]:
        """Return those of some states in which a condition holds."""
        function = self._pickers.get(test)
        if function is None:
            name = f"having{len(self._pickers)}"
            found = [f"if {self._reader.write(test)}: found.append(number)"]
            if self._fallibility.of(test):
                found = ["try:", *indented(found), "except Impossible: pass"]
            body = ["found = []", "for number in numbers:", *indented(["s = states[number]", *found]), "return found"]
            self._run([f"def {name}(numbers, states):", *indented(body)])
            function = self._pickers[test] = cast(Picker, self._names[name])
        return function(states, self.states)

    def hazard(self, state: int) -> int:
        """Return a sum of 2^h over the hazards that hold: *h* is a place in `hazards`; one more bit if some have no value."""
        known = self._hazards[state]
        if known is None:
            if self._held is None:
                lines = [line for place, test in enumerate(self._tests) for line in self._noted(place, test)]
                self._run(["def held(s):", *indented(["q = 0", *lines, "return q"])])
                self._held = cast(Function, self._names["held"])
            known = self._hazards[state] = self._held(self.states[state])
        return known

    # --- source ---
    def _run(self, lines: list[str]) -> None:
        source = "\n".join(lines)
        exec(compile(source, "<generated from the model>", "exec"), self._names)  # noqa: S102 - made of integers and our names

    def _unpacked(self) -> list[str]:
        return ["".join(f"{local(place)}, " for place in range(len(self.model.variables))) + "= s"]

    def _condition(self, name: str, test: Expression) -> Function:
        returned = [f"return 1 if {self._reader.write(test)} else 0"]
        if self._fallibility.of(test):
            returned = ["try:", *indented(returned), "except Impossible: return FAILED"]
        self._run([f"def {name}(s):", *indented(returned)])
        return cast(Function, self._names[name])

    def _noted(self, place: int, test: Expression) -> list[str]:
        """Return lines that add the bit of a hazard that holds, or the one for no value."""
        line = f"if {self._reader.write(test)}: q |= {1 << place}"
        if not self._fallibility.of(test):
            return [line]
        return ["try:", *indented([line]), f"except Impossible: q |= {1 << len(self._tests)}"]

    def _alone(self, step: Step) -> list[str]:
        """Return lines that try one step and return what comes of it."""
        lines: list[str] = []
        if step.ready != TRUE:
            lines += [f"if not ({self._writer.write(step.ready)}): return NOT_YET"]
        if step.guards:
            missing = " + ".join(
                f"(0 if {self._writer.write(guard.test)} else {1 << place})" for place, guard in enumerate(step.guards)
            )
            lines += [f"q = {missing}", "if q: return -q"]
        lines += [*self._after(step.program, "return FAILED"), "return i"]
        return self._caught(step, lines, "return FAILED")

    def _listing(self, name: str, wanted: Callable[[Step], bool]) -> Listing:
        lines = ["found = []", *self._unpacked()]
        for number, step in enumerate(self.model.steps):
            if wanted(step):
                lines += self._listed(number, step)
        self._run([f"def {name}(s):", *indented([*lines, "return found"])])
        return cast(Listing, self._names[name])

    def _listed(self, number: int, step: Step) -> list[str]:
        """Return lines that add one step, if it is possible, to what is found."""
        condition = self._writer.write(conjunction(*(guard.test for guard in step.guards)))
        if step.ready != TRUE:
            condition = f"{self._writer.write(step.ready)} and {condition}"
        body = [*self._after(step.program, "i = FAILED"), f"found.append(({number}, i))"]
        lines = [f"if {condition}:", *indented(body)]
        return self._caught(step, lines, f"found.append(({number}, FAILED))")

    def _caught(self, step: Step, lines: list[str], failing: str) -> list[str]:
        values = [value for assign in step.program for value in assign.values]
        if not self._fallibility.of(*(guard.test for guard in step.guards), *values):
            return lines
        return ["try:", *indented(lines), f"except Impossible: {failing}"]

    def _after(self, program: Program, failing: str) -> list[str]:
        """Return lines that put the number of the state after a program into `i`, or do what is said if a range is left."""
        lines: list[str] = []
        checks: list[str] = []
        for assign in program:
            fresh = [self._value(t, v, lines) for t, v in zip(assign.targets, assign.values, strict=True)]
            if not assign.bounded:
                checks += [self._within(t, name) for t, name in zip(assign.targets, fresh, strict=True)]
            self._current |= dict(zip(assign.targets, fresh, strict=True))
        values = "".join(f"{self._current.get(place, local(place))}, " for place in range(len(self.model.variables)))
        self._current = {}
        taken = [f"n = ({values})", "i = numbers.get(n)", "if i is None: i = rest(n)"]
        if not checks:
            return [*lines, *taken]
        return [*lines, f"if not ({' and '.join(checks)}): {failing}", "else:", *indented(taken)]

    def _value(self, target: int, value: Expression, lines: list[str]) -> str:
        if isinstance(value, Const) and value.value >= 0:
            return str(value.value)
        lines.append(f"x{target}_{len(lines)} = {self._writer.write(value)}")
        return f"x{target}_{len(lines) - 1}"

    def _within(self, target: int, name: str) -> str:
        variable = self.model.variables[target]
        return f"{variable.lowest} <= {name} <= {variable.highest}"

    def _tick_lines(self) -> list[str]:
        lines = []
        for clock in self.model.clocks:
            if clock.latest is not None:
                when = self._writer.write(clock.when)
                lines += [f"if {local(clock.variable)} == {clock.latest} and {when}: return NOT_YET"]
        for clock in self.model.clocks:
            now = local(clock.variable)
            lines += [f"x{clock.variable} = {now} + 1 if {self._writer.write(clock.when)} and {now} < {clock.most} else {now}"]
        moving = {clock.variable for clock in self.model.clocks}
        values = "".join(f"x{i}, " if i in moving else f"{local(i)}, " for i in range(len(self.model.variables)))
        counted = "".join(f", 1 if {self._counts(timer)} else 0" for timer in self.model.timers)
        lines += [f"return rest(({values}){counted})"]
        return ["try:", *indented(lines), "except Impossible: return FAILED"]

    def _counts(self, timer: Timer) -> str:
        """Return the source of whether a timer counts the tick."""
        now = local(timer.variable)
        if timer.kind is TimerKind.TP:
            return f"1 <= {now} <= {timer.pt}"
        in_ = self._writer.write(timer.input.test)
        return f"{now} < {timer.pt} and {in_ if timer.kind is TimerKind.TON else f'not {in_}'}"
