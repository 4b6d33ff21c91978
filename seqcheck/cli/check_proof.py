"""`seqcheck check-proof`: confirms a proof file with code that shares nothing with the engines that wrote it."""

import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import NoReturn

import click

from seqcheck.cli.load import Loaded, load
from seqcheck.compile.compile import compile_machine, compile_observed
from seqcheck.model.model import Model
from seqcheck.proof.checking import Confirmed, Origin, Way, confirm
from seqcheck.proof.form import BUILT_IN, CaseProof, Kind, NotAProofError, Proof, RefusedError, UndecidedError
from seqcheck.proof.reading import read_proof

REFUSED, NOT_A_PROOF, UNDECIDED = 1, 2, 3
WAYS = {"auto": None, "listing": Way.LISTING, "solver": Way.SOLVER}
CHECKS = {Kind.RANGE: "no step leaves a range or divides by zero", Kind.SETTLING: "trips and at-once rules always come to rest"}


@click.command("check-proof")
@click.argument("sequence", type=click.Path(path_type=Path))
@click.argument("file", type=click.Path(path_type=Path))
@click.option(
    "--by",
    type=click.Choice(list(WAYS)),
    default="auto",
    show_default=True,
    help="Visit every state, or ask a solver; auto: the solver for large sets.",
)
def check_proof(sequence: Path, file: Path, by: str) -> None:
    """Confirm the proof FILE of a SEQUENCE file without any of the engines.

    Exit code: 0 confirmed, 1 refused, 2 FILE is no proof of this SEQUENCE or damaged, 3 no answer, 70 internal error.
    """
    loaded = load(sequence)
    told = Told(file)
    try:
        proof = told.whole = read_proof(_bytes(told, file))
        for confirmed in confirm(proof, _origin(loaded), WAYS[by], told):
            told.add(confirmed)
    except NotAProofError as error:
        told.end(f"no proof of {sequence}: {error}", NOT_A_PROOF)
    except RefusedError as error:
        told.end(f"refused{told.where}: {error}", REFUSED)
    except UndecidedError as error:
        told.end(f"no answer{told.where}: {error}", UNDECIDED)
    except KeyboardInterrupt:
        told.end(f"interrupted{told.where}, {told.reach}", UNDECIDED)
    told.close()


def _bytes(told: "Told", file: Path) -> bytes:
    try:
        return file.read_bytes()
    except OSError as error:
        told.end(f"cannot be read: {error.strerror or error}", NOT_A_PROOF)


def _origin(loaded: Loaded) -> Origin:
    """Return the machine of the file, to be compiled for each set of faults."""
    machine = loaded.machine
    if machine is None:
        raise SystemExit(NOT_A_PROOF)

    def compiled(faults: tuple[str, ...], observed: str = "") -> Model:
        return compile_observed(machine, observed, faults) if observed else compile_machine(machine, faults)

    return Origin(sha256=loaded.sha256, compile=compiled)


class Told:
    """What the user is told: how far it is, what is confirmed, how it ends."""

    def __init__(self, file: Path) -> None:
        self._file = file
        self._due = time.monotonic() + 1
        self._width = 0
        self._cases = 0
        self.reach = "before anything was confirmed"
        self.whole: Proof | None = None

    def __call__(self, done: int, total: int, what: str) -> None:
        """Show how far the check is, once it has run for a second."""
        self.reach = f"{done:,} of {total:,} {what} confirmed"
        now = time.monotonic()
        if now < self._due:
            return
        terminal = sys.stderr.isatty()
        self._due = now + (0.2 if terminal else 10)
        line = f"{self._file}{self.where}: {self.reach} (Ctrl-C stops)"
        click.echo(("\r" if terminal else "") + line.ljust(self._width), nl=not terminal, err=True)
        self._width = len(line) if terminal else 0

    @property
    def where(self) -> str:
        """Which set of faults is being looked at."""
        cases = () if self.whole is None else self.whole.cases
        return f" {_with(cases[self._cases])}" if self._cases < len(cases) and len(cases) > 1 else ""

    def _clear(self) -> None:
        if self._width:
            click.echo("\r" + " " * self._width + "\r", nl=False, err=True)
            self._width = 0

    def add(self, confirmed: Confirmed) -> None:
        """Print what has been confirmed with one set of faults."""
        self._clear()
        self._cases += 1
        self.reach = "before anything of it was confirmed"
        for line in said(confirmed):
            click.echo(line)

    def end(self, why: str, code: int) -> NoReturn:
        """Print why it ends badly, and end."""
        self._clear()
        if self._cases and self.whole is not None:
            click.echo(f"{self._cases} of {len(self.whole.cases)} sets of states were confirmed before", err=True)
        click.echo(f"{self._file}: {why}", err=True)
        raise SystemExit(code)

    def close(self) -> None:
        """Print what a confirmation means."""
        click.echo(f"{self._file}: confirmed, in this model, under the assumptions that `seqcheck verify` lists")
        click.echo("It does not replace a risk assessment by competent people, lockout, or validation on the real machine.")


def _with(case: CaseProof) -> str:
    faults = f"with {' and '.join(f'“{fault}”' for fault in case.faults)}" if case.faults else "without faults"
    return f"{faults}, {case.observed} by itself" if case.observed else faults


def said(confirmed: Confirmed) -> Iterator[str]:
    """Yield lines that say what has been confirmed with one set of faults."""
    case = confirmed.case
    yield f"{_with(case)}:"
    if confirmed.way is Way.LISTING and confirmed.states is not None:
        yield f"  the set of {confirmed.states:,} states holds every start and every step from it; each state was visited"
    elif confirmed.way is Way.SOLVER:
        number = "" if confirmed.states is None else f" of {confirmed.states:,} states"
        yield f"  the set{number} holds every start and every step from it; a solver found no state that breaks it"
    yield from (f"  {CHECKS[claim.kind]}" for claim in case.claims if claim.kind in BUILT_IN)
    for kind in Kind:
        names = [claim.id for claim in case.claims if claim.kind is kind and kind not in BUILT_IN]
        if names:
            yield f"  {kind.value}: {', '.join(names)}"
    claimed = {claim.kind for claim in case.claims}
    yield from (f"  not proved: {CHECKS[kind]}" for kind in CHECKS if kind not in claimed and not case.observed)
    if confirmed.not_confirmed:
        yield f"  not proved: {', '.join(confirmed.not_confirmed)}"
