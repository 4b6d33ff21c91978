"""The committed sequences against themselves and against their drafts."""

from pathlib import Path

import pytest

from seqcheck.analyse.comparing.comparison import Outcome
from seqcheck.analyse.verdict import Verdict
from seqcheck.analyse.verify import verify_case
from seqcheck.search.engine import Limits
from seqcheck.search.symbolic.symbolic import SymbolicEngine
from tests.analyse.asking import silent
from tests.analyse.comparing.comparing import subject, told
from tests.outside.reading import machine_of

SEQUENCES = Path(__file__).parents[3] / "sequences"
NAMES = sorted(path.stem for path in SEQUENCES.glob("*.yaml") if (SEQUENCES / f"{path.stem}_draft.yaml").exists())
BUILT_IN = {"range", "settling"}


def text(name: str) -> str:
    return (SEQUENCES / f"{name}.yaml").read_text(encoding="utf-8")


def verdicts(name: str) -> dict[str, Verdict]:
    """Return the verdicts of `verify`; procedures are not compared."""
    asked = subject(machine_of(text(name)))
    case = verify_case(asked.model, SymbolicEngine(), Limits(), silent, asked.observing)
    return {one.id: one.verdict for one in case.results if one.id not in BUILT_IN and not one.id.startswith("procedure: ")}


@pytest.mark.parametrize("name", NAMES)
def test_a_sequence_is_the_same_as_itself(name: str) -> None:
    found = told(text(name), "# a comment\n" + text(name))
    assert (found.outcome, found.quick) == (Outcome.SAME, True)


@pytest.mark.parametrize("name", NAMES)
def test_a_draft_differs_in_the_verdicts_of_verify(name: str) -> None:
    mended, draft = verdicts(name), verdicts(f"{name}_draft")
    found = told(text(name), text(f"{name}_draft"))
    assert {one.id for one in found.verdicts} == {id_ for id_ in {*mended, *draft} if mended.get(id_) is not draft.get(id_)}
    assert found.verdicts
    for one in found.verdicts:
        assert (one.old.verdict if one.old else None, one.new.verdict if one.new else None) == (
            mended.get(one.id),
            draft.get(one.id),
        )
    assert found.outcome is Outcome.DIFFERS
