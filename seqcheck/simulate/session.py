"""A person's session with one machine: takes what is typed, gives the lines to show. It neither reads nor prints."""

from collections.abc import Callable
from pathlib import Path
from typing import Final

from msgspec import Struct

from seqcheck.check.machine import Machine
from seqcheck.model.run import RunStep, StepKind
from seqcheck.simulate import recording
from seqcheck.simulate.asking import Asking, NotUnderstoodError, understand_wait
from seqcheck.simulate.duration import in_seconds
from seqcheck.simulate.errors import RecordingError, SetupError
from seqcheck.simulate.recording import Recording
from seqcheck.simulate.simulator import Outcome, Simulator
from seqcheck.simulate.wording import Line, Tone, Wording, capital, request

HELP: Final = (
    ("a number", "do what has that number in the list"),
    ("a name", "do what has that name, for example a command's; capitals do not matter"),
    ("wait", "let one tick pass"),
    ("wait 2 s", "let two seconds pass; ms, s, min, h and ticks are understood"),
    ("undo", "take the last step, or the last wait, back"),
    ("state", "show the state and the list again"),
    ("timeline", "show all that has happened"),
    ("save FILE", "write down what has happened, to be played again"),
    ("play FILE", "start anew and do what a file says"),
    ("do NAME", "do what has that name, where a name is one of these words"),
    ("help", "show this"),
    ("quit", "end"),
)


class Answer(Struct, frozen=True, kw_only=True):
    """What to show. *ended*: the session is over. *went_through*: all that was asked for was done."""

    lines: tuple[Line, ...] = ()
    ended: bool = False
    went_through: bool = True


class Session:
    """Holds a simulator and answers for it."""

    def __init__(self, machine: Machine, simulator: Simulator, file_sha256: str) -> None:
        self._machine = machine
        self._simulator = simulator
        self._file_sha256 = file_sha256
        self._wording = Wording(machine)
        self._asking = Asking(machine)

    @property
    def simulator(self) -> Simulator:
        """The simulator as it stands."""
        return self._simulator

    def opening(self) -> Answer:
        """Return what to show first."""
        tick = in_seconds(1, self._machine.tick_s)
        revision = f", revision {self._machine.revision}" if self._machine.revision else ""
        lines = [Line(f"{self._machine.name}{revision}. One tick is {tick}.", Tone.HEADING)]
        if self._simulator.failure is not None:
            failed = [Line("The machine does not come through its start.", Tone.ALARM)]
            failed += self._wording.failure(self._simulator.failure)[:1]
            return Answer(lines=(*lines, *failed), went_through=False)
        if self._simulator.acted_at_start:
            names = ", ".join(self._simulator.acted_at_start)
            lines.append(Line(f"Before anything is done, these act: {names}."))
        return Answer(lines=tuple(lines))

    def overview(self) -> Answer:
        """Return the state and the numbered list of what may be done."""
        hazards = self._wording.hazards(self._simulator)
        choices = self._wording.choices(self._simulator.choices())
        return Answer(lines=(*hazards, *self._wording.state(self._simulator), *choices))

    def state(self) -> Answer:
        """Return the state alone."""
        return Answer(lines=(*self._wording.state(self._simulator), *self._wording.hazards(self._simulator)))

    def answer(self, typed: str) -> Answer:
        """Do what a line says and return what to show."""
        words = typed.split(maxsplit=1)
        if not words:
            return Answer()
        word, rest = words[0].lower(), words[1].strip() if len(words) > 1 else ""
        try:
            return self._obey(word, rest, typed.strip())
        except (NotUnderstoodError, RecordingError, SetupError) as error:
            return Answer(lines=(Line(_sentence(str(error)), Tone.REFUSED),), went_through=False)

    def play(self, recorded: Recording) -> Answer:
        """Start anew and do what a recording says, up to the first step that is refused or fails."""
        lines = [Line(f"Playing {len(recorded.steps)} entries of a recorded run.", Tone.HEADING)]
        if recorded.file_sha256 not in {"", self._file_sha256}:
            lines.append(Line("Note: the sequence file has changed since this run was recorded.", Tone.REFUSED))
        self._simulator = Simulator(self._machine, faults=recorded.faults, start=dict(recorded.start))
        if self._simulator.failure is not None:
            return self.opening()
        hazards = self._wording.hazards(self._simulator)
        count = 0
        for step in recorded.steps:
            count += step.by.kind is not StepKind.WAIT
            before = self._simulator.elapsed_ticks
            outcome = self._do(step)
            lines += self._told(outcome, before, count)
            if outcome.refused_by or outcome.failure:
                return Answer(lines=(*lines, *self._stopped(step, outcome, count)), went_through=False)
            hazards, shown = self._wording.hazards(self._simulator), hazards
            lines += [line for line in hazards if line not in shown]
        return Answer(lines=tuple(lines))

    def _obey(self, word: str, rest: str, whole: str) -> Answer:
        plain_words: dict[str, Callable[[], Answer]] = {
            "help": _help,
            "state": self.overview,
            "timeline": self._timeline,
            "undo": self._undo,
            "quit": lambda: Answer(ended=True),
        }
        if word in plain_words and not rest:
            return plain_words[word]()
        if word == "wait":
            wait = self._simulator.choices()[-1].by
            return self._step(RunStep(by=wait, ticks=understand_wait(rest, self._machine.tick_s)))
        if word in {"save", "play"} and rest:
            return self._save(Path(rest)) if word == "save" else self._play_file(Path(rest))
        asked = rest if word == "do" and rest else whole
        return self._step(RunStep(by=self._asking.understand(asked, self._simulator, self._simulator.choices())))

    def _step(self, step: RunStep) -> Answer:
        """Do one step, tell it, and show where the machine stands."""
        before = self._simulator.elapsed_ticks
        outcome = self._do(step)
        lines = self._told(outcome, before, self._simulator.timeline().step_count)
        if outcome.refused_by or outcome.failure:
            lines += self._refused(step, outcome)
        if not outcome.steps:
            return Answer(lines=tuple(lines), went_through=False)
        return Answer(lines=(*lines, *self.overview().lines), went_through=not (outcome.refused_by or outcome.failure))

    def _do(self, step: RunStep) -> Outcome:
        return self._simulator.wait(step.ticks) if step.ticks else self._simulator.take(step.by)

    def _told(self, outcome: Outcome, elapsed_ticks: int, count: int) -> list[Line]:
        """Tell what happened, each thing with its own moment."""
        lines: list[Line] = []
        for step in outcome.steps:
            elapsed_ticks += step.ticks
            lines += self._wording.entry(step, count, elapsed_ticks)
        return lines

    def _refused(self, step: RunStep, outcome: Outcome) -> list[Line]:
        if outcome.failure is not None:
            return self._wording.failure(outcome.failure)
        if step.by.kind is StepKind.WAIT and outcome.ticks:
            reasons = self._wording.reasons(step.by, outcome.refused_by)
            return [Line(f"STOPPED after {in_seconds(outcome.ticks, self._machine.tick_s)}: {reasons}.", Tone.REFUSED)]
        return self._wording.refusal(step.by, outcome.refused_by)

    def _stopped(self, step: RunStep, outcome: Outcome, count: int) -> list[Line]:
        """Tell at which step a recording could not go on."""
        where = f"after step {count}" if step.by.kind is StepKind.WAIT else f"at step {count}"
        kind = "wait" if step.by.kind is StepKind.WAIT else f"{step.by.kind.value} {request(step.by, self._machine.tick_s)}"
        return [Line(f"The run stops {where}: {kind}.", Tone.REFUSED), *self._refused(step, outcome)]

    def _timeline(self) -> Answer:
        steps = self._simulator.timeline().steps
        return Answer(lines=tuple(self._wording.timeline(steps)) or (Line("Nothing has happened yet.", Tone.QUIET),))

    def _undo(self) -> Answer:
        if not self._simulator.undo():
            return Answer(lines=(Line("There is nothing to undo.", Tone.REFUSED),), went_through=False)
        return Answer(lines=(Line("Undone."), *self.overview().lines))

    def _save(self, path: Path) -> Answer:
        recording.save(path, self._simulator.timeline(), self._machine, self._file_sha256)
        return Answer(lines=(Line(f"Saved to {path}."),))

    def _play_file(self, path: Path) -> Answer:
        played = self.play(recording.load(path, self._machine))
        if self._simulator.failure is not None:
            return Answer(lines=played.lines, ended=True, went_through=False)
        return Answer(lines=(*played.lines, *self.overview().lines), went_through=played.went_through)


def _help() -> Answer:
    return Answer(lines=(Line("You can say:", Tone.HEADING), *(Line(f"   {say:<12}{does}", hang=15) for say, does in HELP)))


def _sentence(text: str) -> str:
    """Return a message as a sentence of its own."""
    return capital(text if text.endswith((".", "?", "!")) else f"{text}.")
