"""Rendering: the excerpt shows the right characters, whatever stands in the line."""

import pytest

from seqcheck.diagnostics.codes import Code
from seqcheck.diagnostics.diagnostic import Diagnostic, Severity, Sink
from seqcheck.diagnostics.render import printable, render, split_lines
from seqcheck.diagnostics.span import START_OF_FILE, Span


def rendered(span: Span, text: str, help_line: str = "") -> list[str]:
    return render(Diagnostic(code=Code.UNKNOWN_NAME, span=span, message="it is wrong", help=help_line), "a.yaml", text).split(
        "\n"
    )


def test_the_whole() -> None:
    text = "machine: Press\nhazards: {H1: {must not be: gaet = open}}\n"
    assert rendered(Span.at(2, 29, 4), text, "did you mean `gate`?") == [
        "a.yaml:2:29: error E301: it is wrong",
        "    hazards: {H1: {must not be: gaet = open}}",
        "                                ^^^^",
        "help: did you mean `gate`?",
    ]


def test_a_warning_says_so() -> None:
    diagnostic = Diagnostic(code=Code.ODD_NAME, span=START_OF_FILE, message="odd")
    assert diagnostic.severity is Severity.WARNING
    assert render(diagnostic, "f", "a__b").startswith("f:1:1: warning W302: odd\n")


def test_a_long_line_is_cut_around_the_place() -> None:
    line = "x" * 200 + "HERE" + "y" * 200
    _, excerpt, carets = rendered(Span.at(1, 201, 4), line)
    at = carets.index("^")
    assert excerpt[at : at + 4] == "HERE"
    assert carets.count("^") == 4
    assert excerpt.strip().startswith("...")
    assert excerpt.endswith("...")
    assert len(excerpt) < 130


def test_a_long_line_is_not_cut_where_it_begins_or_ends() -> None:
    line = "HERE" + "y" * 300 + "THERE"
    _, excerpt, carets = rendered(Span.at(1, 1, 4), line)
    assert excerpt.startswith("    HERE")
    _, excerpt, carets = rendered(Span.at(1, 305, 5), line)
    assert excerpt.endswith("THERE")
    assert excerpt[carets.index("^") :] == "THERE"


def test_several_lines_are_shown_up_to_three() -> None:
    text = "a: b\n   c\n\n   d\n   e\n"
    assert rendered(Span(1, 4, 2, 5), text)[1:] == ["    a: b", "       ^", "       c", "       ^"]
    assert rendered(Span(1, 4, 5, 5), text)[-1] == "    ..."


def test_a_place_behind_the_last_character_is_shown() -> None:
    assert rendered(Span.at(1, 5), "a: b")[1:] == ["    a: b", "        ^"]
    assert rendered(Span.at(9, 1), "a: b") == ["a.yaml:9:1: error E301: it is wrong"]


@pytest.mark.parametrize(
    ("line", "column", "offset"), [("ab\tcd", 4, 3), ("日本cd", 3, 4), ("e\u0301cd", 3, 1), ("a\x1bcd", 3, 2)]
)
def test_carets_stand_under_tabs_wide_and_combining_characters(line: str, column: int, offset: int) -> None:
    _, excerpt, carets = rendered(Span.at(1, column, 2), line)
    assert carets == " " * (4 + offset) + "^^"
    assert "\x1b" not in excerpt
    assert "\t" not in excerpt


def test_nothing_reaches_the_terminal_raw() -> None:
    assert printable("a\x1b[2J\x00\tb") == "a\ufffd[2J\ufffd b"
    assert printable("plain") == "plain"


def test_lines_end_as_yaml_ends_them() -> None:
    assert split_lines("\ufeffa\r\nb\rc\nd") == ("a", "b", "c", "d")


def test_the_sink_keeps_each_once_and_in_file_order() -> None:
    sink = Sink()
    sink.report(Code.ODD_NAME, Span.at(2, 1), "later")
    assert not sink.refused
    sink.report(Code.UNKNOWN_NAME, Span.at(1, 5), "first")
    sink.report(Code.UNKNOWN_NAME, Span.at(1, 5), "first")
    assert [d.message for d in sink.diagnostics] == ["first", "later"]
    assert sink.refused
