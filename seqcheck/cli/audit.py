"""`seqcheck audit`: what each permissive and trip is for, what is refused without need, what would mend a hazard, margins."""

import time
from collections.abc import Sequence
from pathlib import Path

import click
from msgspec.structs import replace

from seqcheck.analyse.auditing.audit import Answers, Asked, Audit
from seqcheck.analyse.auditing.audit import audit as audit_machine
from seqcheck.analyse.auditing.margins import Bound, Duration
from seqcheck.analyse.auditing.parts import Part, PartKind
from seqcheck.analyse.auditing.purposes import Need
from seqcheck.analyse.auditing.removing import Removing
from seqcheck.analyse.record import Disagreement
from seqcheck.check.changing import (
    with_latest,
    with_preset,
    without_clauses,
    without_condition,
    without_permissive,
    without_trip,
)
from seqcheck.check.machine import Machine, Precedence, Response
from seqcheck.cli.beforehand import AUTO
from seqcheck.cli.load import REFUSED, Loaded, load
from seqcheck.cli.output import refuse_to_write_over, write_whole
from seqcheck.cli.progress import ProgressLine
from seqcheck.cli.searching import INTERNAL_ERROR, searcher
from seqcheck.compile.compile import compile_machine, compile_observed
from seqcheck.model.model import Elsewhere, Model
from seqcheck.model.run import Run
from seqcheck.report.audit_text import audit_text
from seqcheck.report.narrate import Vocabulary
from seqcheck.search.engine import Limits
from seqcheck.search.limits import Interruption
from seqcheck.search.planner.job import NoAnswerError

UNDECIDED = 3


@click.command()
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--json", "json_path", metavar="PATH", help="Also write the result as JSON; - is standard output.")
@click.option("--people", is_flag=True, help="Also take out the conditions of what people do by hand.")
@click.option("--runs", is_flag=True, help="Also tell in words every run that shows an answer.")
@click.option("--max-seconds", type=click.FloatRange(min=0), metavar="S", help="Give up after so many seconds.")
@click.option("--max-memory", type=click.FloatRange(min=1), metavar="MB", help="Give up when so many megabytes are taken.")
def audit(
    file: Path, json_path: str | None, people: bool, runs: bool, max_seconds: float | None, max_memory: float | None
) -> None:
    """Tell what each permissive and trip of FILE is for, without faults.

    Each is taken out in turn, and so is each pair of those that nothing needs alone. Then: which commands are refused where
    accepting them would have been harmless; what would mend a hazard that is met; how far durations may change.

    Exit code: 0 every question is answered, 2 FILE is refused or an option is wrong, 3 undecided (a limit was reached, or
    Ctrl-C), 70 internal error. What is found is no verdict: seqcheck verify gives those.
    """
    refuse_to_write_over([file], {"--json": json_path})
    loaded = load(file)
    if loaded.machine is None:
        raise SystemExit(REFUSED)
    told = audited(loaded, loaded.machine, Limits(seconds=max_seconds, memory_mb=max_memory), people=people)
    words = Vocabulary.of(compile_machine(loaded.machine))
    for line in audit_text(told, words, file=loaded.file, sha256=loaded.sha256, runs=runs):
        click.echo(line, err=json_path == "-")
    if json_path is not None:
        from seqcheck.report.audit_json import audit_data
        from seqcheck.report.json_form import text_of

        write_whole(json_path, text_of(audit_data(told, file=loaded.file, sha256=loaded.sha256)))
    raise SystemExit(0 if told.complete else UNDECIDED)


def audited(loaded: Loaded, machine: Machine, limits: Limits, *, people: bool) -> Audit:
    """Audit a machine; each run is replayed in the simulator. Raises `Disagreement`."""
    began = time.monotonic()
    line = ProgressLine(loaded.file)

    def left() -> Limits:
        spent = time.monotonic() - began
        return limits if limits.seconds is None else replace(limits, seconds=max(0.0, limits.seconds - spent))

    def observing(id_: str) -> Model:
        return compile_observed(machine, id_)

    removing = Removing(limits=left, observer=line, engine=searcher(AUTO))
    asked = Asked(observing=observing, rebuilt=lambda d, ticks: rebuilt(machine, d, ticks), people=people)
    with Interruption():
        try:
            told = audit_machine(compile_machine(machine), asked, removing)
        except NoAnswerError as none:
            click.echo(f"seqcheck: no engine came to an answer: {none}", err=True)
            raise SystemExit(INTERNAL_ERROR) from None
        finally:
            line.clear()
        replay_all(machine, told)
    return told


def rebuilt(machine: Machine, duration: Duration, ticks: int | None) -> Sequence[Model]:
    """Return the model with another length of a duration, and after it those that are observed."""
    changed = lengthened(machine, duration, ticks)
    model = compile_machine(changed)
    elsewhere = [p.id for p in model.properties if isinstance(p.rule, Elsewhere)]
    return (model, *(compile_observed(changed, id_) for id_ in elsewhere))


def lengthened(machine: Machine, duration: Duration, ticks: int | None) -> Machine:
    """Return the checked machine with another length of a duration."""
    if duration.bound is Bound.LATEST:
        return with_latest(machine, duration.name, ticks)
    return with_preset(machine, duration.name, ticks or 1)


def without(machine: Machine, parts: Sequence[Part]) -> Machine:
    """Return the checked machine from which parts are taken out."""
    clauses: dict[tuple[str, str], list[int]] = {}
    for part in parts:
        if part.clause is not None:
            clauses.setdefault((part.step, part.name), []).append(part.clause)
    for (step, name), numbers in clauses.items():
        machine = without_clauses(machine, step, name, numbers) if name else without_condition(machine, step, numbers)
    for part in parts:
        if part.kind is PartKind.TRIP:
            machine = without_trip(machine, part.name)
        elif part.clause is None and part.name:
            machine = without_permissive(machine, part.step, part.name)
        elif part.clause is None:
            machine = without_condition(machine, part.step, None)
    return machine


def replay_all(machine: Machine, told: Audit | Answers) -> None:
    """Play every run again in the simulator, on the machine that it belongs to. Raises `Disagreement`."""
    playing = Playing(machine)
    for need in told.purposes.already if told.purposes is not None else ():
        playing.play([], need)
    for purpose in told.purposes.purposes if told.purposes is not None else ():
        for need in purpose.needs:
            playing.play([purpose.part], need)
        for cover in purpose.covers:
            playing.play([purpose.part, cover.other], cover.need)
    for refused in told.refused or ():
        if refused.run is not None:
            playing.confirm(machine, refused.run, refused.command)
    for margin in told.margins or ():
        for need in margin.violated:
            if need.run is not None:
                playing.confirm(lengthened(machine, margin.duration, margin.turns_at), need.run, need.id)


class Playing:
    """Plays runs again in the simulator, those without the same parts once."""

    def __init__(self, machine: Machine) -> None:
        self._machine = machine
        self._ordered = {r.id for r in machine.requirements if isinstance(r.rule, Response | Precedence)}
        self._played: set[tuple[frozenset[Part], str]] = set()

    def play(self, missing: Sequence[Part], need: Need) -> None:
        """Play the run of what is violated without some parts. Raises `Disagreement`."""
        key = (frozenset(missing), need.id)
        if need.run is not None and key not in self._played:
            self._played.add(key)
            self.confirm(without(self._machine, missing), need.run, need.id)

    def confirm(self, machine: Machine, run: Run, what: str) -> None:
        """Play a run; the simulator itself judges requirements on time and order. Raises `Disagreement`."""
        from seqcheck.simulate.replay import replay

        found = replay(machine, run)
        if found.disagreement is not None:
            raise Disagreement(f"the simulator does not confirm the run of {what}: {found.disagreement}")
        if what in self._ordered and what not in found.violated:
            raise Disagreement(f"the simulator does not confirm that the run of {what} violates it")
