"""Whatever bytes a file holds, the front end gives diagnostics or a machine, soon, and never an exception."""

from datetime import timedelta

from hypothesis import given, settings
from hypothesis import strategies as st

from tests.check.examples import CASES, PRESS, SEQUENCES, SMALL, look_at

SEEDS = [PRESS, SMALL, *(path.read_text(encoding="utf-8") for path in (*SEQUENCES, *sorted(CASES.glob("*.yaml"))))]
SEEDS = [seed for seed in SEEDS if len(seed) < 40_000]
_MARKS = [
    "{",
    "}",
    "[",
    "]",
    "(",
    ")",
    ",",
    ": ",
    ":",
    "\n",
    "\n  ",
    "- ",
    "'",
    '"',
    "&a ",
    "*a",
    "!x ",
    "|",
    ">",
    "#",
    " # ",
    "%",
    "@",
]
_WORDS = [
    "\t",
    "=",
    "<>",
    " AND ",
    " NOT ",
    "SEL(",
    "MUX(",
    "0",
    "-1",
    "..",
    "T#1s",
    " s",
    "null",
    "~",
    "TRUE",
    "bool",
    "any",
    "at once",
]
_NAMES = ["\\", "\u00e4", "\u2028", "gate", "open", "ram", "when", "then", "steps", "starts", "sensor", "stuck"]
PIECES = st.sampled_from(_MARKS + _WORDS + _NAMES)
DEADLINE = timedelta(seconds=3)


@settings(deadline=DEADLINE, max_examples=300)
@given(data=st.binary(max_size=300))
def test_any_bytes(data: bytes) -> None:
    look_at(data)


@settings(deadline=DEADLINE, max_examples=300)
@given(text=st.text(max_size=300))
def test_any_text(text: str) -> None:
    look_at(text)


@settings(deadline=DEADLINE, max_examples=300)
@given(pieces=st.lists(PIECES, max_size=60))
def test_any_pieces_of_the_language(pieces: list[str]) -> None:
    look_at("machine: P\nparts:\n  gate: [shut, open]\n" + "".join(pieces))


@settings(deadline=DEADLINE, max_examples=500)
@given(data=st.data())
def test_mangled_sequences(data: st.DataObject) -> None:
    text = data.draw(st.sampled_from(SEEDS))
    for _ in range(data.draw(st.integers(1, 4))):
        at = data.draw(st.integers(0, len(text)))
        cut = data.draw(st.integers(0, 12))
        text = text[:at] + data.draw(st.one_of(PIECES, st.just(""))) + text[at + cut :]
    look_at(text)


@settings(deadline=DEADLINE, max_examples=200)
@given(data=st.data())
def test_sequences_with_lines_moved_or_doubled(data: st.DataObject) -> None:
    lines = data.draw(st.sampled_from(SEEDS)).split("\n")
    source = data.draw(st.integers(0, len(lines) - 1))
    target = data.draw(st.integers(0, len(lines) - 1))
    lines.insert(target, lines[source] if data.draw(st.booleans()) else lines.pop(source))
    look_at("\n".join(lines))


@settings(deadline=DEADLINE, max_examples=200)
@given(data=st.data())
def test_mangled_expressions(data: st.DataObject) -> None:
    operand = st.sampled_from(
        ["gate", "ram", "made", "hot", "open", "shut", "top", "nothing", "1", "0", "TRUE", "T#1s", "t.Q", "t.ET", "s", "w", "t"]
    )
    joined = st.recursive(
        operand,
        lambda inner: st.one_of(
            st.tuples(inner, st.sampled_from(["=", "<>", "<", "AND", "OR", "XOR", "+", "-", "*", "/", "MOD", "**"]), inner).map(
                lambda p: f"({p[0]} {p[1]} {p[2]})"
            ),
            inner.map(lambda e: f"NOT {e}"),
            inner.map(lambda e: f"-{e}"),
            st.lists(inner, max_size=4).map(lambda arms: f"SEL({', '.join(arms)})"),
            st.lists(inner, max_size=4).map(lambda arms: f"MUX({', '.join(arms)})"),
            st.lists(inner, max_size=3).map(lambda arms: f"MAX({', '.join(arms)})"),
        ),
        max_leaves=8,
    )
    expression, target, value = data.draw(joined), data.draw(st.sampled_from(["gate", "made", "hot"])), data.draw(joined)
    look_at(
        SMALL
        + f"sensors: {{s: '{data.draw(joined)}', w: gate}}\nmemory: {{m: bool}}\ntimers: {{t: {{kind: TP, in: m, pt: 2 s}}}}\n"
        + f"hazards: {{H: {{must not be: '{expression}'}}}}\npeople: {{p: {{then: {{{target}: '{value}'}}}}}}\n"
    )
