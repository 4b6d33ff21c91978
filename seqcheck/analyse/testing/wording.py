"""Says in plain words what a tester does and sees."""

from collections.abc import Sequence

from msgspec import Struct

from seqcheck.analyse.procedures.wording import in_seconds, shown
from seqcheck.analyse.testing.goals import COMMAND, PERMISSIVE
from seqcheck.analyse.testing.records import Item, Timing
from seqcheck.analyse.testing.script import Doing, Entry, runs
from seqcheck.model.model import Model, State, TimerKind
from seqcheck.model.run import StepKind

LAST = "the last row that did something"


class Words(Struct, frozen=True, kw_only=True):
    """Speaks of one model."""

    model: Model

    def time(self, ticks: int) -> str:
        """Say a duration."""
        return in_seconds(ticks * self.model.tick_s)

    def item(self, item: Item) -> str:
        """Name what is to be shown."""
        if item.sort == COMMAND:
            return f"“{self.model.steps[item.number].name}” is accepted"
        if item.sort == PERMISSIVE:
            step = self.model.steps[item.number]
            return f"“{step.name}” is refused unless “{step.guards[item.place].name}”"
        reaction = self.model.reactions[item.number]
        return f"the trip “{reaction.name}” acts on {self.model.variables[item.place].spoken}"

    # --- what is done ---
    def step(self, number: int) -> str:
        """Say what a tester does."""
        step = self.model.steps[number]
        if step.kind is StepKind.PANEL:
            item = next(variable for variable in self.model.variables if variable.name == step.name)
            return f"On the panel, set {item.spoken} to {shown(step.to)}."
        return f"Give the command “{step.name}”." if step.kind is StepKind.COMMAND else f"By hand: {step.name}."

    def waiting(self, entry: Entry, after: State) -> str:
        """Say what a tester waits for."""
        if entry.doing is Doing.LET:
            return f"Wait {self.time(entry.ticks)}."
        seen = [f"{self.model.variables[place].spoken} is {self.value(place, after)}" for place in entry.changed]
        seen += [self._timer(number, after) for number in entry.timers]
        return f"Wait until {self.joined(seen)}."

    def _timer(self, number: int, state: State) -> str:
        timer = self.model.timers[number]
        name = timer.text or timer.name.replace("_", " ")
        if timer.kind is TimerKind.TON and runs(self.model, number, state):
            return f"the timer “{name}” has run out ({self.time(timer.pt)})"
        return f"the timer “{name}” {'switches on' if runs(self.model, number, state) else 'switches off'}"

    # --- what is seen ---
    def label(self, place: int, value: int) -> str:
        """Say a value that a variable may have."""
        return shown(self.model.variables[place].shown(value))

    def value(self, place: int, state: State) -> str:
        """Say the value of a variable."""
        return shown(self.model.variables[place].shown(state[place]))

    def becomes(self, places: Sequence[int], after: State) -> str:
        """Say what variables become."""
        return self.joined([f"{self.model.variables[place].spoken} is now {self.value(place, after)}" for place in places])

    def stays(self, places: Sequence[int], state: State) -> str:
        """Say what variables stay."""
        return self.joined([f"{self.model.variables[place].spoken} stays {self.value(place, state)}" for place in places])

    @staticmethod
    def joined(parts: Sequence[str]) -> str:
        """Join parts."""
        return ", ".join(parts[:-1]) + " and " + parts[-1] if len(parts) > 1 else "".join(parts)

    # --- time ---
    def timing(self, timing: Timing, ticks: int | None) -> str:
        """Say how far a row hangs on the machine's timing."""
        match timing:
            case Timing.ANY:
                return "at any time"
            case Timing.WITHIN:
                return f"within {self.time(ticks or 0)} after {LAST}"
            case Timing.PROMPT:
                lasts = "" if ticks is None else f" (it stays so for {self.time(ticks)})"
                return f"without delay after {LAST}{lasts}"
            case Timing.OPEN:
                return "the machine may take any time, or never do this"
            case Timing.AT_ONCE:
                return f"TIGHT: in less than {self.time(1)} after {LAST}"
            case Timing.LUCK:
                return "DEPENDS ON TIMING: the machine may do otherwise; then restore and begin again"
            case Timing.UNKNOWN:
                return "NOT LOOKED AT COMPLETELY: it may depend on timing"

    def allowed(self, least: int, most: int | None) -> str:
        """Say how long a wait can take."""
        if most is None:
            return "no latest time in the model; record: ______ s"
        if most == 0:
            return "at once"
        return (
            f"takes {self.time(least)} to {self.time(most)}; allow at most {self.time(most)}"
            if least != most
            else (f"takes {self.time(most)}; allow at most {self.time(most)}")
        )
