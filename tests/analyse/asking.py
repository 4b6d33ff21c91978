"""Puts a text to the analyses, without the command line."""

from seqcheck.analyse.verdict import Case, Result, Verdict, Verification
from seqcheck.analyse.verify import verification, verify_case
from seqcheck.compile.compile import compile_machine
from seqcheck.model.model import Model
from seqcheck.search.engine import Engine, Limits, Progress
from seqcheck.search.plain.plain import PlainEngine
from tests.outside.reading import machine_of


def silent(_progress: Progress) -> None:
    """Take no note."""


def model_of(text: str, *faults: str) -> Model:
    """Return the model of a text with faults under study."""
    return compile_machine(machine_of(text), faults)


def case_of(text: str, *faults: str, limits: Limits | None = None, engine: Engine | None = None) -> Case:
    """Return all verdicts and findings on a text with faults under study."""
    return verify_case(model_of(text, *faults), engine or PlainEngine(), limits or Limits(), silent)


def judged(text: str, *fault_sets: tuple[str, ...]) -> Verification:
    """Return the verification of a text without faults and with each of some sets of faults."""
    models = [model_of(text, *faults) for faults in ((), *fault_sets)]
    return verification(models, lambda model: verify_case(model, PlainEngine(), Limits(), silent))


def result(case: Case, identity: str) -> Result:
    """Return the only result with this id."""
    (found,) = [one for one in case.results if one.id == identity]
    return found


def violated(case: Case) -> list[str]:
    """Return the ids of all that is violated, in the order of the results."""
    return [one.id for one in case.results if one.verdict is Verdict.VIOLATED]


def findings(case: Case) -> list[tuple[str, str]]:
    """Return kind and subject of every finding."""
    return [(finding.kind, finding.about) for finding in case.findings]
