"""Says in plain words what a procedure's steps are, what a deviation is, and what it comes to."""

from collections.abc import Callable, Sequence
from fractions import Fraction
from typing import assert_never

from msgspec import Struct

from seqcheck.analyse.procedures.records import Class, Deviation, Outcome, Refusal, Row, Way
from seqcheck.model.model import Act, Model, Procedure, ProcedureStep, SetPanel, Until, Wait
from seqcheck.model.run import StepKind, Value


def in_seconds(seconds: Fraction) -> str:
    """Say a duration shortly."""
    return f"{float(seconds):g} s"


class Wording(Struct, frozen=True, kw_only=True):
    """Speaks of one model; *duration* says a number of seconds in words."""

    model: Model
    duration: Callable[[Fraction], str] = in_seconds

    # --- steps ---
    def step(self, step: ProcedureStep) -> str:
        """Say a step of a procedure."""
        match step:
            case Act(step=number):
                return self.model.steps[number].name
            case SetPanel(steps=numbers):
                return "set " + " and ".join(self._setting(number) for number in numbers)
            case Wait(ticks=ticks):
                return f"wait {self._time(ticks)}"
            case Until(end=guard):
                return f"wait until {guard.text}"
            case _:
                assert_never(step)

    def _setting(self, number: int) -> str:
        step = self.model.steps[number]
        return f"{step.name.replace('_', ' ')} to {shown(step.to)}"

    def _time(self, ticks: int) -> str:
        return self.duration(ticks * self.model.tick_s)

    def move(self, move: int) -> str:
        """Say what happens in a run."""
        if move < 0:
            return f"wait {self._time(-move)}"
        step = self.model.steps[move]
        if step.kind is StepKind.PANEL:
            return f"set {self._setting(move)}"
        return f"({step.name})" if step.kind is StepKind.PLANT else step.name

    def moves(self, moves: Sequence[int]) -> str:
        """Say what happens one after the other, waits joined; what the machine does by itself stands in brackets."""
        joined: list[int] = []
        for move in moves:
            if move < 0 and joined and joined[-1] < 0:
                joined[-1] += move
            else:
                joined.append(move)
        return ", ".join(self.move(move) for move in joined)

    # --- deviations ---
    def deviation(self, row: Row) -> str:
        """Say what is done otherwise."""
        match row.deviation:
            case Deviation.LEFT_OUT:
                return "left out"
            case Deviation.REPEATED:
                return "done twice"
            case Deviation.SWAPPED:
                return f"swapped with step {row.place + 2}"
            case Deviation.EARLY:
                return "done before its wait is over"
            case Deviation.INSTEAD:
                return f"“{self.model.steps[row.other or 0].name}” instead"
            case Deviation.STOPPED:
                return "emergency stop here, then started anew"
            case _:
                assert_never(row.deviation)

    # --- what it comes to ---
    def outcome(self, procedure: Procedure, outcome: Outcome, row: Row | None = None, most: int | None = None) -> str:
        """Say one thing that a row, or a procedure as written, comes to; of a way out not more than *most* steps."""
        match outcome.met:
            case Class.HAZARD:
                p = self.model.properties[outcome.hazard or 0]
                return f"MEETS {p.id}: {p.text}"
            case Class.UNDECIDED:
                return "UNDECIDED: a limit was reached before everything was looked at"
            case Class.FAILS:
                return f"CANNOT BE COMPLETED: {outcome.about}"
            case Class.LOST | Class.STUCK | Class.WAY_OUT:
                return self._is_stuck(procedure, outcome, row, most)
            case Class.REFUSED if outcome.refusal is not None:
                return self.refusal(outcome.refusal)
            case Class.WELL:
                return "still ends well"
            case Class.NO_EFFECT:
                return "no effect"
            case _:
                return self._no_moment(row)

    def refusal(self, refusal: Refusal) -> str:
        """Say which step is refused, and by which permissives, in their own names."""
        kind = self.model.steps[refusal.step].kind
        return f"{'refused' if kind is StepKind.COMMAND else 'not possible'}: {self.refused(refusal)}"

    def refused(self, refusal: Refusal) -> str:
        """Name a step that is refused and the permissives that do not hold."""
        step = self.model.steps[refusal.step]
        guards = [step.guards[place] for place in refusal.guards]
        if step.kind is StepKind.COMMAND:
            missing = "; ".join(f"not so: {guard.name}" for guard in guards)
        else:
            missing = "it needs " + " and ".join(guard.text for guard in guards)
        return f"step {refusal.place + 1}, “{step.name}” ({missing})"

    def _is_stuck(self, procedure: Procedure, outcome: Outcome, row: Row | None, most: int | None) -> str:
        where = self._stuck(procedure, outcome)
        if outcome.met is Class.LOST:
            return f"STUCK FOR GOOD: {where}; there is no way out"
        if outcome.met is Class.WAY_OUT:
            return f"stuck: {where}; {self._out(outcome.way, most)}"
        return f"stuck: {where}{self._round(outcome.way) if row is None else '; whether there is a way out is UNDECIDED'}"

    def _stuck(self, procedure: Procedure, outcome: Outcome) -> str:
        if outcome.place is None:
            return outcome.about
        if outcome.place < len(procedure.steps):
            return f"step {outcome.place + 1}, {self.step(procedure.steps[outcome.place])}, may never end"
        ends_with = procedure.ends_with
        return "it ends without " + (f"“{ends_with.text}”" if ends_with is not None else "a good end")

    @staticmethod
    def _round(way: Way | None) -> str:
        goes_round = way is not None and way.stuck is not None and way.stuck < len(way.moves)
        return ": what the run shows last can repeat for ever" if goes_round else ""

    def _out(self, way: Way | None, most: int | None) -> str:
        out = () if way is None or way.stuck is None else way.moves[way.stuck :]
        if not out:
            return "what it should end with is there already"
        count = sum(move >= 0 for move in out)
        if most is None or count <= most:
            return f"way out: {self.moves(out)}"
        return f"way out: {count} steps, first {self.move(out[0])}"

    @staticmethod
    def _no_moment(row: Row | None) -> str:
        if row is not None and row.deviation is Deviation.EARLY:
            return "never: its wait is over at once"
        return "never: the procedure does not come to this step"


def shown(value: Value | None) -> str:
    """Say a value as it is read aloud."""
    if isinstance(value, bool):
        return "true" if value else "false"
    return str(value).replace("_", " ")
