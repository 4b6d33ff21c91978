"""sequences/LANGUAGE.md says what is true: its examples are accepted and get the verdicts it states, nothing is left out."""

import re
from collections.abc import Iterator
from functools import partial
from pathlib import Path

import pytest

from seqcheck.analyse.verify import verify_case
from seqcheck.check import declare, size, ticks
from seqcheck.compile.compile import compile_machine, compile_observed
from seqcheck.diagnostics.codes import Code
from seqcheck.model.model import MOST_ROUNDS
from seqcheck.search.engine import Limits
from seqcheck.search.engines import engine
from seqcheck.syntax import expression, malformed, text, yaml_tree
from seqcheck.syntax.forms import Form, Keyed, Leaf, Listing, Named, OneOf, Single
from seqcheck.syntax.sections import FILE
from seqcheck.syntax.words import FUNCTIONS, LONGEST_NAME, WORD_OPERATORS
from tests.check.examples import accepted, codes

ROOT = Path(__file__).parents[2]
LANGUAGE = (ROOT / "sequences" / "LANGUAGE.md").read_text(encoding="utf-8")
README = (ROOT / "README.md").read_text(encoding="utf-8")
FENCE = re.compile(r"```yaml\n(.*?)```", re.DOTALL)
REFUSED = re.compile(r"# refused: (.+)\n")
VERDICTS = re.compile(r"^# verdicts: (.+)$", re.MULTILINE)
ROW = re.compile(r"^\| `([EW]\d+)` \| (.+) \|$", re.MULTILINE)


def name_of(example: str) -> str:
    """Return the name of the machine of an example."""
    return example.split("machine: ")[1].split("\n", maxsplit=1)[0]


OURS = FENCE.findall(LANGUAGE)
WHOLE = [fence for fence in OURS if fence.startswith("machine:")]
BAD = [fence for fence in OURS if REFUSED.match(fence)]
README_WHOLE = [fence for fence in FENCE.findall(README) if fence.startswith("machine:")]


def test_every_example_is_one_that_a_test_runs() -> None:
    assert sorted(WHOLE + BAD) == sorted(OURS)
    assert len(WHOLE) >= 8
    assert BAD
    assert README_WHOLE


@pytest.mark.parametrize("example", WHOLE + README_WHOLE, ids=name_of)
def test_a_whole_file_is_accepted(example: str) -> None:
    accepted(example)
    assert codes(example) == []


@pytest.mark.parametrize("example", BAD, ids=name_of)
def test_a_refused_file_gives_the_codes_it_names(example: str) -> None:
    named = REFUSED.match(example)
    assert named is not None
    assert codes(example) == named[1].split(", ")


@pytest.mark.parametrize("example", WHOLE, ids=name_of)
def test_an_example_gets_the_verdicts_it_states(example: str) -> None:
    stated = VERDICTS.search(example)
    assert stated is not None
    machine = accepted(example)
    observing = partial(compile_observed, machine)
    case = verify_case(compile_machine(machine), engine("plain"), Limits(states=10_000), lambda _progress: None, observing)
    assert [f"{result.id} {result.verdict.value}" for result in case.results] == stated[1].split("; ")


def test_the_first_example_has_the_figures_the_page_states() -> None:
    machine = accepted(WHOLE[0])
    case = verify_case(compile_machine(machine), engine("plain"), Limits(), lambda _progress: None)
    assert f"finds {case.states} states and {case.transitions} transitions" in LANGUAGE
    for fault in machine.faults:
        faulty = verify_case(compile_machine(machine, (fault.name,)), engine("plain"), Limits(), lambda _progress: None)
        run = next(result.run for result in faulty.results if result.id == "H1")
        assert run is not None
        assert f"- with `{fault.name}` after {run.step_count} steps: " in LANGUAGE


def test_the_table_of_codes_is_that_of_the_program() -> None:
    rows = ROW.findall(LANGUAGE)
    assert [code for code, _ in rows] == [code.value for code in Code]
    assert len({meaning for _, meaning in rows}) == len(rows)
    assert set(re.findall(r"\b[EW]\d{3}\b", LANGUAGE)) == {code.value for code in Code}


def keys(form: Form) -> Iterator[str]:
    """Yield every key, and every word that a key may choose from."""
    match form:
        case Keyed():
            for key in form.keys:
                yield key.name
                yield from keys(key.form)
        case Named():
            yield from keys(form.entry)
        case Listing():
            yield from keys(form.item)
        case OneOf():
            for one in form.forms:
                yield from keys(one)
        case Single() if form.leaf is Leaf.CHOICE:
            yield from form.choices


def test_every_key_function_and_operator_is_on_the_page() -> None:
    shown = " ".join(re.findall(r"`[^`\n]+`", LANGUAGE))
    for word in {*keys(FILE), *FUNCTIONS, *WORD_OPERATORS}:
        assert re.search(rf"\b{re.escape(word)}\b", shown), word


def test_the_limits_are_those_of_the_program() -> None:
    limits = LANGUAGE.split("## 13. Limits")[1].split("## 14.")[0]
    assert f"{text.MOST_BYTES // 2**20} MiB, {yaml_tree.MOST_NODES:,} entries, {malformed.DEEPEST} levels" in limits
    assert f"| a line | {text.LONGEST_LINE:,} characters |" in limits
    assert f"{expression.LONGEST:,} characters, {expression.DEEPEST} deep" in limits
    assert f"{size.MOST_TERMS:,} terms, {size.DEEPEST} deep" in limits
    assert f"| a name | {LONGEST_NAME} characters |" in limits
    assert f"| {declare.MOST_VALUES:,}; named states {declare.MOST_STATES:,} |" in limits
    assert f"| {ticks.MOST_TICKS:,} ticks |" in limits
    assert f"| rounds of settling | {MOST_ROUNDS:,} |" in limits
