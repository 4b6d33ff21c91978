"""Puts texts to the study of procedures, and finds rows by what they are about."""

from pathlib import Path

from seqcheck.analyse.procedures.records import Class, Deviation, Outcome, Row, Studied, Study
from seqcheck.analyse.procedures.study import study
from seqcheck.analyse.procedures.wording import Wording
from seqcheck.compile.compile import compile_machine
from seqcheck.model.model import Model
from seqcheck.search.engine import Limits, Progress
from tests.outside.reading import machine_of

HERE = Path(__file__).parent
PRESS = (HERE / "press.yaml").read_text(encoding="utf-8")


def silent(_progress: Progress) -> None:
    """Take no note."""


def model_of(text: str) -> Model:
    """Return the model of a text."""
    return compile_machine(machine_of(text))


def studied(text: str, limits: Limits | None = None) -> Study:
    """Study all procedures of a text."""
    model = model_of(text)
    return study(model, range(len(model.procedures)), limits or Limits(), silent)


def first(text: str) -> Studied:
    """Study the first procedure of a text."""
    return studied(text).studied[0]


def breaks(text: str) -> list[str]:
    """Return in words how the first procedure of a text breaks."""
    return [Wording(model=model_of(text)).outcome(model_of(text).procedures[0], one) for one in first(text).breaks]


def row(found: Studied, step: int, deviation: Deviation, *, regardless: bool, other: int | None = None) -> Row:
    """Return the only row about this; steps count from 1."""
    (one,) = [
        each
        for each in found.rows
        if (each.place + 1, each.deviation, each.regardless, each.other) == (step, deviation, regardless, other)
    ]
    return one


def met(found: Row) -> list[Class]:
    """Return the classes that a row meets."""
    return [outcome.met for outcome in found.outcomes]


def worst(found: Row) -> Outcome:
    """Return the worst that a row comes to."""
    return found.outcomes[0]
