"""The schema: valid itself, true to every committed sequence, and stricter than anything goes."""

from pathlib import Path

import pytest
import yaml
from jsonschema import Draft202012Validator

from seqcheck.syntax.schema import schema
from tests.check.examples import CASES, PRESS, SEQUENCES, SMALL, codes


class CoreLoader(yaml.SafeLoader):
    """Reads the YAML 1.2 core schema: on, off, yes and no are words."""


CoreLoader.yaml_implicit_resolvers = {
    first: [(tag, pattern) for tag, pattern in resolvers if tag.rsplit(":", 1)[1] in {"null", "int"}]
    for first, resolvers in yaml.SafeLoader.yaml_implicit_resolvers.items()
}
CoreLoader.add_implicit_resolver(
    "tag:yaml.org,2002:bool", __import__("re").compile("^(?:true|True|TRUE|false|False|FALSE)$"), list("tTfF")
)

VALIDATOR = Draft202012Validator(schema())


def faults(text: str) -> list[str]:
    return [error.message for error in VALIDATOR.iter_errors(yaml.load(text, Loader=CoreLoader))]  # noqa: S506


def test_the_schema_is_a_schema() -> None:
    Draft202012Validator.check_schema(schema())


def test_the_press_fits() -> None:
    assert faults(PRESS) == []


@pytest.mark.parametrize("path", SEQUENCES, ids=lambda path: path.name)
def test_every_committed_sequence_fits(path: Path) -> None:
    assert faults(path.read_text(encoding="utf-8")) == []


@pytest.mark.parametrize(
    "name",
    [
        "unknown_keys", "missing_keys", "wrong_forms", "a_list_of_parts", "which_kind", "empty", "not_a_choice", "bad_ranges",
        "bad_names", "bad_durations", "cut_at_comma", "no_values",
    ],
)  # fmt: skip
def test_files_of_a_wrong_shape_do_not_fit(name: str) -> None:
    assert faults((CASES / f"{name}.yaml").read_text(encoding="utf-8"))


@pytest.mark.parametrize(
    "extra",
    [
        "sensors:\n",
        "hazards: {H: {must not be: TRUE}}",
        "people: {p: {then: {made: 3, hot: true}}}",
        "plant: {p: {when: hot, after: {time: at once, source: measured}, then: {hot: FALSE}}}",
        "tick: 500 ms\nplant: {p: {when: hot, after: 500 ms..2 s, then: {hot: FALSE}}}",
        "plant: {p: {when: hot, after: 3 s or more, then: {hot: FALSE}}}",
        "plant: {p: {when: hot, after: T#1s..T#2s, then: {hot: FALSE}}}",
        "panel: {e: {starts: TRUE}, f: [FALSE, TRUE], g: Bool, h: {range: -5..5, starts: [1, -2]}}",
        "revision: 7",
        "commands: {go: {then: {drive: down}}}\nrequirements: {R: {only: [], makes: hot}}",
    ],
)
def test_good_forms_fit_and_are_accepted(extra: str) -> None:
    assert faults(SMALL + extra) == []
    assert codes(SMALL + extra) == []


@pytest.mark.parametrize(
    "extra",
    [
        "hazards: {H: {}}",
        "plant: {p: {when: hot, after: soon, then: {hot: TRUE}}}",
        "tick: 1",
        "faults: {F: {stuck: TRUE}}",
        "people: {p: {then: {}}}",
    ],
)
def test_bad_forms_fit_neither(extra: str) -> None:
    assert faults(SMALL + extra)
    assert [code for code in codes(SMALL + extra) if code.startswith("E")]
