"""The expression parser: precedence, association, numbers, places, and the limits that keep it from running away."""

from dataclasses import dataclass

import pytest
from hypothesis import given
from hypothesis import strategies as st

from seqcheck.diagnostics.diagnostic import Sink
from seqcheck.syntax.expression import parse_expression
from seqcheck.syntax.nodes import Mapping, Scalar
from seqcheck.syntax.terms import Constant, Duration, Name, Operation, Term
from seqcheck.syntax.yaml_tree import parse_tree

# IEC 61131-3:2003, operators of Structured Text, strongest first
PRECEDENCE = (("**",), ("*", "/", "MOD"), ("+", "-"), ("<", ">", "<=", ">="), ("=", "<>"), ("AND",), ("XOR",), ("OR",))
STRENGTH = {operator: len(PRECEDENCE) - level for level, operators in enumerate(PRECEDENCE) for operator in operators}


def scalar_of(text: str) -> Scalar:
    root = parse_tree(f"x: '{text.replace(chr(39), chr(39) * 2)}'", Sink())
    assert isinstance(root, Mapping)
    assert isinstance(root.entries[0].value, Scalar)
    return root.entries[0].value


def parsed(text: str) -> Term:
    sink = Sink()
    scalar = scalar_of(text)
    term = parse_expression(scalar.value, scalar.places(), sink)
    assert term is not None, sink.diagnostics
    return term


def codes(text: str) -> list[str]:
    sink = Sink()
    scalar = scalar_of(text)
    assert (parse_expression(scalar.value, scalar.places(), sink) is None) == bool(sink.diagnostics)
    return [d.code.value for d in sink.diagnostics]


def shown(term: Term) -> str:
    """Write a term with every parenthesis, so that its structure shows."""
    if isinstance(term, Name):
        return f"{term.text}.{term.member}" if term.member else term.text
    if isinstance(term, Constant):
        return str(term.value)
    if isinstance(term, Duration):
        return f"{term.seconds}s"
    return f"({term.operator} {' '.join(map(shown, term.operands))})"


@pytest.mark.parametrize(
    ("text", "structure"),
    [
        ("A+B-C*ABS(D)", "(- (+ A B) (* C (ABS D)))"),  # the example of IEC 61131-3
        ("(A+B-C)*ABS(D)", "(* (- (+ A B) C) (ABS D))"),
        ("a - b - c", "(- (- a b) c)"),
        ("a / b MOD c * d", "(* (MOD (/ a b) c) d)"),
        ("a ** b ** c", "(** (** a b) c)"),
        ("a * b ** c", "(* a (** b c))"),
        ("a ** -b", "(** a (NEG b))"),
        ("a ** -2", "(** a -2)"),
        ("NOT a AND b", "(AND (NOT a) b)"),
        ("NOT a = b", "(= (NOT a) b)"),
        ("NOT NOT a", "(NOT (NOT a))"),
        ("- - a", "(NEG (NEG a))"),
        ("-a + b", "(+ (NEG a) b)"),
        ("a OR b XOR c AND d", "(OR a (XOR b (AND c d)))"),
        ("a AND b OR c AND d", "(OR (AND a b) (AND c d))"),
        ("a and b & c Or d", "(OR (AND a b c) d)"),
        ("a AND (b AND c)", "(AND a (AND b c))"),
        ("a XOR b XOR c", "(XOR (XOR a b) c)"),
        ("a = b AND c <> d", "(AND (= a b) (<> c d))"),
        ("a + 1 < b * 2 AND c >= d", "(AND (< (+ a 1) (* b 2)) (>= c d))"),
        ("a = b = c", "(= (= a b) c)"),
        ("a < b < c", "(< (< a b) c)"),
        ("(a < b) = c", "(= (< a b) c)"),
        ("-(a ** b)", "(NEG (** a b))"),
        ("(-a) ** b", "(** (NEG a) b)"),
        ("-3", "-3"),
        ("-(3)", "-3"),
        ("2#1_01 + 8#17 + 16#fF + 1_000", "(+ (+ (+ 5 15) 255) 1000)"),
        ("true Xor FALSE", "(XOR True False)"),
        ("T#1m30s > time#500ms", "(> 90s 1/2s)"),
        ("t.Q AND t . et > 3", "(AND t.Q (> t.et 3))"),
        ("SEL(a, b, MUX(c, d, e))", "(SEL a b (MUX c d e))"),
        ("limit(0, max(a, b), 9)", "(LIMIT 0 (MAX a b) 9)"),
        ("abs()", "(ABS )"),
        ("T", "T"),
        ("(((a)))", "a"),
    ],
)
def test_structure(text: str, structure: str) -> None:
    assert shown(parsed(text)) == structure


@dataclass(frozen=True)
class Made:
    """A random expression: its text with only the parentheses that precedence needs, and its structure."""

    text: str
    structure: str
    strength: int


def join(left: Made, operator: str, right: Made) -> Made:
    strength = STRENGTH[operator]
    mixed = {4, 5}  # comparisons beside one another need parentheses here
    both = strength in mixed
    left_text = f"({left.text})" if left.strength < strength or (both and left.strength in mixed - {strength}) else left.text
    if operator in {"AND", "OR"} and left.strength == strength:
        left_text = f"({left.text})"  # a chain without parentheses would be one term
    right_text = f"({right.text})" if right.strength <= strength or (both and right.strength in mixed) else right.text
    return Made(f"{left_text} {operator} {right_text}", f"({operator} {left.structure} {right.structure})", strength)


MADE = st.recursive(
    st.sampled_from("abcde").map(lambda name: Made(name, name, 10)),
    lambda inner: st.one_of(
        st.builds(join, inner, st.sampled_from(sorted(STRENGTH)), inner),
        inner.map(lambda m: Made(f"NOT {m.text if m.strength > 8 else f'({m.text})'}", f"(NOT {m.structure})", 9)),
        st.tuples(inner, inner).map(
            lambda p: Made(f"MAX({p[0].text}, {p[1].text})", f"(MAX {p[0].structure} {p[1].structure})", 10)
        ),
    ),
    max_leaves=12,
)


@given(made=MADE)
def test_precedence_makes_parentheses_needless_exactly_where_the_table_says(made: Made) -> None:
    assert shown(parsed(made.text)) == made.structure


@given(text=st.text(alphabet="ab .,()=<>+-*/&NOTADR01#_'\n", max_size=40))
def test_any_text_parses_or_is_refused(text: str) -> None:
    assert len(codes(text.replace("\n", " "))) <= 1


def test_depth_is_bounded_but_breadth_is_not() -> None:
    assert codes("(" * 99 + "a" + ")" * 99) == []
    assert codes("(" * 100 + "a" + ")" * 100) == ["E214"]
    assert codes("NOT " * 98 + "a") == []
    assert codes("- " * 200 + "a") == ["E214"]
    assert codes("ABS(" * 150 + "a" + ")" * 150) == ["E214"]
    assert codes(" + ".join("a" * 100)) == []
    assert codes(" + ".join("a" * 101)) == ["E214"]
    assert codes(" AND ".join("a" * 5000)) == []
    assert codes("a OR " * 41_000 + "a") == ["E103"]


@pytest.mark.parametrize(
    "text", ["T#", "T#1", "T#1x", "T#s", "T#1s1m", "T#1.5m30s", "T#-1s", "T#1s_", "LTIME#1s", "T#" + "1" * 200 + "s"]
)
def test_bad_durations(text: str) -> None:
    assert codes(f"a < {text}") == ["E601"]


@pytest.mark.parametrize(
    ("text", "seconds"),
    [
        ("T#1s", "1s"),
        ("t#1d2h3m4s5ms", "18756801/200s"),
        ("TIME#1h_30m", "5400s"),
        ("T#0.5s", "1/2s"),
        ("T#5ms", "1/200s"),
        ("T#2m", "120s"),
    ],
)
def test_good_durations(text: str, seconds: str) -> None:
    assert shown(parsed(text)) == seconds


def names(term: Term) -> list[Name]:
    if isinstance(term, Name):
        return [term]
    return [name for operand in term.operands for name in names(operand)] if isinstance(term, Operation) else []


@pytest.mark.parametrize(
    "written",
    [
        "x: alpha AND beta OR gamma_1",
        "x:   alpha AND\n   beta\n   OR gamma_1",
        "x: 'alpha AND beta OR gamma_1'",
        "x: 'alpha AND\n\n    beta OR\n  gamma_1'",
        'x: "alpha AND beta OR gamma_1"',
        'x: "alpha AND \\\n    beta \\\n\n  OR\\ngamma_1"',
        "x: >\n  alpha AND\n  beta\n\n  OR gamma_1\n",
        "x: >-\n    alpha\n    AND beta OR\n    gamma_1",
        "x: |\n  alpha AND\n    beta\n  OR gamma_1\n",
        "x: |2-\n   alpha AND beta\n   OR gamma_1",
        "y: {x: alpha AND beta\n    OR gamma_1}",
        "ü: 1\nx: (alpha) AND   beta OR gamma_1   # beta",
    ],
)
def test_places_are_exact_in_every_style(written: str) -> None:
    root = parse_tree(written, Sink())
    assert isinstance(root, Mapping)
    value = root.entries[-1].value
    if isinstance(value, Mapping):
        value = value.entries[0].value
    assert isinstance(value, Scalar)
    sink = Sink()
    term = parse_expression(value.value, value.places(), sink)
    assert term is not None, sink.diagnostics
    lines = written.split("\n")
    spans = [name.span for name in names(term)]
    assert all(span.line == span.end_line for span in spans)
    assert [lines[s.line - 1][s.column - 1 : s.end_column - 1] for s in spans] == ["alpha", "beta", "gamma_1"]


def test_places_of_escaped_characters() -> None:
    text = '"\\x61lpha = \\"": 1'
    root = parse_tree(f"x: {text[:-3]}", Sink())
    assert isinstance(root, Mapping)
    value = root.entries[0].value
    assert isinstance(value, Scalar)
    assert value.value == 'alpha = "'
    places = value.places()
    assert (places.span(0, 5).column, places.span(0, 5).end_column) == (5, 13)
    assert places.span(8, 9).column == 16
