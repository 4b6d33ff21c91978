"""Says steps, changes, refusals and states in plain words that can be read aloud. Underscores are said as spaces."""

from collections import Counter
from enum import Enum
from fractions import Fraction
from typing import Final, assert_never

from msgspec import Struct

from seqcheck.check.machine import Condition, Fault, Machine, Precedence, Requirement, Response, Section, Timer
from seqcheck.model.run import Beyond, By, Endless, Failure, RunStep, StepKind, Values
from seqcheck.simulate.deadlines import Breach, Deadline
from seqcheck.simulate.duration import in_seconds
from seqcheck.simulate.naming import plain
from seqcheck.simulate.simulator import Choice, Simulator
from seqcheck.simulate.situation import SECTIONS

CAUTION: Final = (
    "A model is no substitute for a risk assessment by competent people, for lockout, or for tests on the real machine."
)
LABEL_WIDTH: Final = 10
MOST_VALUES: Final = 12
"""So many values of one panel item are listed; more would bury the rest."""
INDENT: Final = " " * 5


class Tone(Enum):
    """How a line is meant; a terminal may colour it, the words say it anyway."""

    PLAIN = "plain"
    HEADING = "heading"
    QUIET = "quiet"
    REFUSED = "refused"
    ALARM = "alarm"


class Line(Struct, frozen=True):
    """One line to be shown, not yet wrapped; further lines of it are indented by *hang*."""

    text: str
    tone: Tone = Tone.PLAIN
    hang: int = 4


def request(by: By, tick_s: Fraction) -> str:
    """Say a step as something to be done."""
    if by.kind is StepKind.PANEL:
        return f"set {plain(by.name)} to {plain(by.to)}"
    if by.kind is StepKind.WAIT:
        return f"wait one tick ({in_seconds(1, tick_s)})"
    return plain(by.name)


def happening(step: RunStep, tick_s: Fraction) -> str:
    """Say a step as something that has happened."""
    name = plain(step.by.name)
    match step.by.kind:
        case StepKind.COMMAND:
            return f"The command is accepted: {name}."
        case StepKind.PERSON:
            return f"A person acts: {name}."
        case StepKind.PANEL:
            return f"On the panel, {name} is set to {plain(step.by.to)}."
        case StepKind.PLANT:
            return f"The machine moves: {name}."
        case StepKind.FAULT:
            return f"A fault occurs: {name}."
        case StepKind.WAIT:
            return f"{in_seconds(step.ticks, tick_s)} {'passes' if step.ticks * tick_s == 1 else 'pass'}."
        case _:
            assert_never(step.by.kind)


def capital(text: str) -> str:
    """Return text that begins as a sentence does."""
    return text[:1].upper() + text[1:]


class Wording:
    """Says what is particular to one machine."""

    def __init__(self, machine: Machine) -> None:
        self._machine = machine
        self._sensors = {sensor.name for sensor in machine.sensors}
        self._trips = {trip.name for trip in machine.trips}
        self._section = {variable.name: variable.section for variable in machine.variables}

    def result(self, step: RunStep) -> list[Line]:
        """Say what a step brought about."""
        told = [self._change(name, value) for name, value in step.changes if (name, value) != (step.by.name, step.by.to)]
        trips = [plain(name) for name in step.acted if name in self._trips]
        rules = [plain(name) for name in step.acted if name not in self._trips]
        if trips:
            told.append(f"{'Trip' if len(trips) == 1 else 'Trips'} that acted: {', '.join(trips)}.")
        if rules:
            told.append(f"The machine moved at once: {', '.join(rules)}.")
        if not told and step.by.kind is not StepKind.WAIT:
            told.append("Nothing else changes.")
        return [Line(f"{INDENT}{each}", hang=len(INDENT) + 3) for each in told]

    def refusal(self, by: By, reasons: tuple[str, ...]) -> list[Line]:
        """Say why a step did not happen."""
        what = request(by, self._machine.tick_s)
        return [Line(f"REFUSED: {what}. {capital(self.reasons(by, reasons))}.", Tone.REFUSED)]

    def reasons(self, by: By, reasons: tuple[str, ...]) -> str:
        """Say why a step may not be taken: of a command, the permissives that fail."""
        if by.kind is not StepKind.COMMAND or by.name not in {command.name for command in self._machine.commands}:
            return "; ".join(reasons)
        return f"not satisfied: {'; '.join(plain(name) for name in reasons)}"

    def failure(self, failure: Failure) -> list[Line]:
        """Say loudly that a step can't be completed."""
        match failure:
            case Endless(names=names):
                what = f"the machine never settles: {', '.join(plain(name) for name in names)} go on for ever"
            case Beyond(rule=rule, problem=problem):
                what = f"{plain(rule)}: {plain(problem)}"
            case _:
                assert_never(failure)
        return [Line(f"*** FAILS: {what}. ***", Tone.ALARM), Line(f"{INDENT}Everything is left as it was.", Tone.QUIET)]

    def hazards(self, simulator: Simulator) -> list[Line]:
        """Say loudly which hazards hold, and which requirements on time and order are violated, or can't be told."""
        lines = [Line(f"*** HAZARD {each.id}: {each.text}. ***", Tone.ALARM) for each in simulator.hazards()]
        for hazard, problem in simulator.unjudged():
            lines.append(Line(f"*** HAZARD {hazard.id} can't be judged here: {problem}. ***", Tone.ALARM))
        return [*lines, *(self._breach(breach) for breach in simulator.breaches())]

    def _breach(self, breach: Breach) -> Line:
        requirement = breach.requirement
        if breach.problem:
            return Line(f"*** REQUIREMENT {requirement.id} can't be judged here: {breach.problem}. ***", Tone.ALARM)
        missing = self._what_is_missing(requirement)
        return Line(f"*** REQUIREMENT {requirement.id} VIOLATED: {requirement.text}. {missing}. ***", Tone.ALARM)

    def _what_is_missing(self, requirement: Requirement) -> str:
        match requirement.rule:
            case Response(then=then, within_ticks=ticks):
                return f"Within {in_seconds(ticks, self._machine.tick_s)} this should have come: {_one_line(then)}"
            case Precedence(before=before, first=first):
                return f"This is so: {_one_line(before)}. This should have come first: {_one_line(first)}"
            case _:
                return ""

    def _deadline(self, deadline: Deadline) -> str:
        left = in_seconds(deadline.left_ticks, self._machine.tick_s) if deadline.left_ticks else "no time"
        return f"{deadline.requirement.id}: {left} left for {_one_line(deadline.answer)}"

    def state(self, simulator: Simulator) -> list[Line]:
        """Say the whole state, a line for each section of the file."""
        values = simulator.state()
        known = dict(values)
        lines = [Line(f"State at {in_seconds(simulator.elapsed_ticks, self._machine.tick_s)}", Tone.HEADING)]
        rows = [(section.value, self._of_section(values, section)) for section in SECTIONS]
        rows.append(("sensors", [f"{plain(n)} = {plain(v)}" for n, v in values if n in self._sensors]))
        rows.append(("timers", [self._timer(timer, known) for timer in self._machine.timers]))
        rows.append(("deadlines", [self._deadline(deadline) for deadline in simulator.deadlines()]))
        occurred = [fault for fault in self._machine.faults if fault.name in simulator.occurred]
        rows.append(("faults", [_fault(fault, power_lost=simulator.power_lost) for fault in occurred]))
        lines += [Line(f"   {label:<{LABEL_WIDTH}}{', '.join(told)}", hang=3 + LABEL_WIDTH) for label, told in rows if told]
        return lines

    def choices(self, choices: tuple[Choice, ...]) -> list[Line]:
        """List what may be done, numbered, with what is refused and why."""
        lines: list[Line] = []
        heading = ""
        offered: Counter[str] = Counter()
        for number, choice in enumerate(choices, start=1):
            if _HEADINGS[choice.by.kind] != heading:
                heading = _HEADINGS[choice.by.kind]
                lines.append(Line(heading, Tone.HEADING))
            if choice.by.kind is StepKind.PANEL:
                offered[choice.by.name] += 1
            if offered[choice.by.name] <= MOST_VALUES:
                lines.append(self._choice(number, choice))
            elif offered[choice.by.name] == MOST_VALUES + 1:
                lines.append(Line(f"      and so on: set {plain(choice.by.name)} to any other of its values", Tone.QUIET))
        return lines

    def timeline(self, steps: tuple[RunStep, ...]) -> list[Line]:
        """Say a run so far, each step with the time at which it happened; steps are counted, waits are not."""
        lines: list[Line] = []
        ticks = count = 0
        for step in steps:
            ticks += step.ticks
            count += step.by.kind is not StepKind.WAIT
            lines += self.entry(step, count, ticks)
        return lines

    def entry(self, step: RunStep, count: int, ticks: int) -> list[Line]:
        """Say one step of a run: the *count*th that is no wait, over after *ticks* in all."""
        at = in_seconds(ticks, self._machine.tick_s)
        mark = INDENT[1:] if step.by.kind is StepKind.WAIT else f"{count:>3}."
        return [Line(f"{mark} At {at}: {happening(step, self._machine.tick_s)}"), *self.result(step)]

    def _choice(self, number: int, choice: Choice) -> Line:
        what = f"{number:>4}. {request(choice.by, self._machine.tick_s)}"
        if choice.failure is not None:
            return Line(f"{what} - FAILS if tried", Tone.ALARM, hang=9)
        if choice.possible:
            return Line(what, hang=9)
        word = "refused" if choice.by.kind is StepKind.COMMAND else "not now"
        return Line(f"{what} - {word}: {self.reasons(choice.by, choice.refused_by)}", Tone.QUIET, hang=9)

    def _change(self, name: str, value: object) -> str:
        if name in self._sensors:
            return f"The sensor {plain(name)} now reads {plain(value)}."
        if name not in self._section:
            return f"The timer {plain(name.removesuffix('.Q'))} is now {plain(value)}."
        asked = "is now asked to be" if self._section[name] is Section.OUTPUT else "is now"
        return f"{capital(plain(name))} {asked} {plain(value)}."

    def _of_section(self, values: Values, section: Section) -> list[str]:
        return [f"{plain(name)} = {plain(value)}" for name, value in values if self._section.get(name) is section]

    def _timer(self, timer: Timer, known: dict[str, bool | int | str]) -> str:
        elapsed = in_seconds(int(known[f"{timer.name}.ET"]), self._machine.tick_s)
        whole = in_seconds(timer.pt_ticks, self._machine.tick_s)
        return f"{plain(timer.name)} = {plain(known[f'{timer.name}.Q'])} ({elapsed} of {whole})"


def _one_line(condition: Condition) -> str:
    return " ".join(condition.text.split())


def _fault(fault: Fault, *, power_lost: bool) -> str:
    if fault.power is not None:
        return f"{plain(fault.name)} ({'the outputs do what they do without it' if power_lost else 'it has returned'})"
    if fault.stuck is None:
        return plain(fault.name)
    does = "reads" if fault.stuck.is_sensor else "does"
    whatever = "whatever is true" if fault.stuck.is_sensor else "whatever is asked"
    return f"{plain(fault.name)} ({plain(fault.stuck.signal)} {does} {plain(fault.stuck.value)}, {whatever})"


_HEADINGS: Final = {
    StepKind.COMMAND: "Commands",
    StepKind.PERSON: "By hand",
    StepKind.PANEL: "On the panel",
    StepKind.PLANT: "The machine by itself",
    StepKind.FAULT: "Faults",
    StepKind.WAIT: "Time",
}
