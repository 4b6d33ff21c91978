"""`seqcheck simulate`: steps a machine at the terminal, or plays a recorded run. Only this file reads and prints."""

import sys
import textwrap
from collections.abc import Iterable, Iterator
from io import TextIOWrapper
from pathlib import Path
from typing import Final

import click

from seqcheck.check.machine import Machine
from seqcheck.check.typed import Value
from seqcheck.cli.load import load
from seqcheck.simulate import recording
from seqcheck.simulate.errors import RecordingError, SetupError
from seqcheck.simulate.naming import Naming
from seqcheck.simulate.session import Session
from seqcheck.simulate.simulator import Simulator
from seqcheck.simulate.wording import CAUTION, Line, Tone

WIDTH: Final = 110
BAD_FILE: Final = 2


@click.command()
@click.argument("file", type=click.Path(exists=True, dir_okay=False, path_type=Path))
@click.option("--play", type=click.Path(exists=True, dir_okay=False, path_type=Path), help="Play a recorded run and end.")
@click.option("--result", metavar="ID", help="With --play: the result of a verification whose run is played.")
@click.option("--save", type=click.Path(dir_okay=False, path_type=Path), help="Write down what happened, at the end.")
@click.option("--fault", "faults", metavar="NAME", multiple=True, help="Only this fault may occur. May be repeated.")
@click.option("--start", "starts", metavar="NAME=VALUE", multiple=True, help="Choose a start value. May be repeated.")
def simulate(
    *,
    file: Path,
    play: Path | None,
    result: str | None,
    save: Path | None,
    faults: tuple[str, ...],
    starts: tuple[str, ...],
) -> None:
    """Step the machine of FILE: see what may be done, what is refused and why."""
    if play is not None and (faults or starts):
        raise click.UsageError("a recorded run has its own faults and start: leave out --fault and --start")
    if result is not None and play is None:
        raise click.UsageError("--result goes with --play")
    loaded = load(file)
    if loaded.machine is None:
        sys.exit(BAD_FILE)
    machine = loaded.machine
    try:
        simulator = Simulator(machine, faults=faults or None, start=_start(machine, starts))
        session = Session(machine, simulator, loaded.sha256)
        status = _converse(session) if play is None else _play(session, recording.load(play, machine, result))
        if save is not None:
            recording.save(save, session.simulator.timeline(), machine, loaded.sha256)
    except (SetupError, RecordingError) as error:
        click.echo(f"error: {_printable(error.problem)}", err=True)
        sys.exit(BAD_FILE)
    _show((Line(CAUTION, Tone.QUIET, hang=0),))
    sys.exit(status)


def _start(machine: Machine, starts: Iterable[str]) -> dict[str, Value]:
    naming = Naming(machine)
    chosen: dict[str, Value] = {}
    for each in starts:
        name, equals, text = each.partition("=")
        if not equals:
            raise SetupError(each, f"--start needs NAME=VALUE, not {each}")
        found, value = naming.value_of(name.strip(), text.strip())
        chosen[found] = value
    return chosen


def _play(session: Session, recorded: recording.Recording) -> int:
    """Play a run, show the end state, and return the exit status."""
    played = session.play(recorded)
    _show(played.lines)
    if session.simulator.failure is None:
        _show(session.state().lines)
    return 0 if played.went_through else 1


def _converse(session: Session) -> int:
    """Answer lines until the input ends; return the exit status."""
    opening = session.opening()
    _show(opening.lines)
    if not opening.went_through:
        return 1
    _show(session.overview().lines)
    _show((Line('Say a number, a name, "wait 2 s", "undo", "help" or "quit".', Tone.QUIET),))
    try:
        for typed in _typed_lines():
            answer = session.answer(typed)
            _show(answer.lines)
            if answer.ended:
                break
    except KeyboardInterrupt:
        click.echo("")
    return 0


def _typed_lines() -> Iterator[str]:
    """Yield the lines of the input until it ends; what does not come from a terminal is shown, as a terminal would."""
    typed = sys.stdin
    if isinstance(typed, TextIOWrapper):
        typed.reconfigure(errors="replace")
    at_terminal = typed.isatty()
    while True:
        if at_terminal:
            click.echo("> ", nl=False)
        line = typed.readline()
        if not line:
            return
        if not at_terminal:
            click.echo(f"> {_printable(line.rstrip())}")
        yield line


def _show(lines: Iterable[Line]) -> None:
    for line in lines:
        text = textwrap.fill(
            _printable(line.text),
            WIDTH,
            subsequent_indent=" " * line.hang,
            break_long_words=False,
            break_on_hyphens=False,
        )
        match line.tone:
            case Tone.PLAIN:
                click.echo(text)
            case Tone.HEADING:
                click.secho(text, bold=True)
            case Tone.QUIET:
                click.secho(text, dim=True)
            case Tone.REFUSED:
                click.secho(text, fg="yellow")
            case Tone.ALARM:
                click.secho(text, fg="red", bold=True)


def _printable(text: str) -> str:
    """Return text that can't steer a terminal."""
    return "".join(each if each.isprintable() else "?" for each in text)
