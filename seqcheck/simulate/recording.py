"""Keeps runs in files: writes the simulator's own, reads those and what `seqcheck verify --json` writes.

A recording is only what was done, in the words of the file; whether it can be done is found out by playing it.
"""

import json
import os
from decimal import Decimal
from fractions import Fraction
from pathlib import Path
from typing import Final

from seqcheck.check.machine import Machine
from seqcheck.check.typed import Value
from seqcheck.model.run import By, Run, RunStep, StepKind
from seqcheck.simulate.errors import RecordingError
from seqcheck.simulate.recorded import SCHEMA, Json, Reader, Recording

__all__ = ["Recording", "load", "read", "save", "write"]

MOST_BYTES: Final = 64 * 1024 * 1024


def write(run: Run, machine: Machine, file_sha256: str) -> str:
    """Return a run as the text of a recording."""
    steps = [{"by": _by_json(step.by), "wait_s": _wait_json(step, machine.tick_s)} for step in run.steps]
    content = {
        "schema": SCHEMA,
        "machine": machine.name,
        "file_sha256": file_sha256,
        "start": dict(run.start),
        "faults": list(run.faults),
        "steps": steps,
    }
    return json.dumps(content, indent=2, ensure_ascii=False) + "\n"


def save(path: Path, run: Run, machine: Machine, file_sha256: str) -> None:
    """Write a recording, whole or not at all; raise `RecordingError` if that can't be done."""
    text = write(run, machine, file_sha256)
    try:
        part = path.with_name(f".{path.name}.{os.getpid()}.part")
        part.write_text(text, encoding="utf-8")
        try:
            part.replace(path)
        finally:
            part.unlink(missing_ok=True)
    except OSError as error:
        raise RecordingError(f"the file {path} can't be written: {error.strerror}") from error
    except ValueError as error:
        raise RecordingError(f"no file can have the name {path}") from error


def load(path: Path, machine: Machine, result_id: str | None = None) -> Recording:
    """Read a recording, a result of `verify`, or the first result with a run of a whole verification.

    *result_id* picks a result by its id. Raise `RecordingError` if there is no run of this machine in it.
    """
    try:
        if path.stat().st_size > MOST_BYTES:
            raise RecordingError(f"the file {path} is too large for a recorded run")
        data = path.read_bytes()
    except OSError as error:
        raise RecordingError(f"the file {path} can't be read: {error.strerror}") from error
    except ValueError as error:
        raise RecordingError(f"no file can have the name {path}") from error
    return read(data, machine, result_id, name=f"the file {path}")


def read(data: bytes, machine: Machine, result_id: str | None = None, *, name: str = "the recording") -> Recording:
    """Read the bytes of what `load` reads."""
    try:
        content: Json = json.loads(data.decode("utf-8-sig"), parse_float=Decimal, parse_constant=_no_constant)
        json.dumps(content, ensure_ascii=False, default=str).encode("utf-8")
    except UnicodeError as error:
        raise RecordingError(f"{name} is not UTF-8 text") from error
    except json.JSONDecodeError as error:
        raise RecordingError(f"{name} is not JSON: line {error.lineno}, column {error.colno}: {error.msg}") from error
    except (RecursionError, ValueError) as error:
        raise RecordingError(f"{name} is not JSON that can be read: {error}") from error
    try:
        return Reader(machine, result_id).recording(content)
    except RecordingError as error:
        raise RecordingError(f"{name}: {error.problem}") from error


def _no_constant(text: str) -> Decimal:
    raise ValueError(f"{text} is no number")


def _by_json(by: By) -> dict[str, Value]:
    written: dict[str, Value] = {"kind": by.kind.value, "name": by.name}
    return written if by.to is None else {**written, "to": by.to}


def _wait_json(step: RunStep, tick_s: Fraction) -> int | float | None:
    if step.by.kind is not StepKind.WAIT:
        return None
    seconds = step.ticks * tick_s
    return seconds.numerator if seconds.denominator == 1 else float(seconds)
