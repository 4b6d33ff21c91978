"""Files that want to hurt: each is refused within a second, with a diagnostic and never a traceback."""

import gc
import sys
import time

import pytest

from tests.check.examples import SMALL, codes, look_at

BOMB = "a: &a [x, x, x, x, x, x, x, x, x]\n" + "".join(
    f"{chr(98 + i)}: &{chr(98 + i)} [{', '.join(['*' + chr(97 + i)] * 9)}]\n" for i in range(9)
)

X = "machine: P\nparts: {x: bool}\n"
WIDE = "".join(f"  a{i}: [x{i}, y{i}]\n" for i in range(2_000))
EVERY = ", ".join(f"a{i}" for i in range(2_000))
FANNED_OUT = "".join(f"  s{i}: {' AND '.join([f's{i - 1}'] * 50)}\n" for i in range(1, 60))
UNKNOWN = "".join(f"  H{i}: {{must not be: unknown{i} = known{i}}}\n" for i in range(5_000))
STATES = ", ".join(f"s{i}" + (chr(10) if i % 50 == 0 else "") for i in range(4_000))
WRONG = "".join(f"  H{i}: {{must not be: a = x{i}}}\n" for i in range(3_000))

HOSTILE = {
    "alias bomb": (BOMB, "E106"),
    "deep brackets": ("machine: " + "[" * 10_000, "E104"),
    "deep braces": ("{a: " * 10_000, "E104"),
    "deep blocks": ("\n".join(" " * i + "a:" for i in range(1_500)), "E104"),
    "deep dashes": ("- " * 10_000 + "a", "E104"),
    "deep parentheses": (SMALL + "hazards: {H: {must not be: '" + "(" * 90_000 + "'}}", "E214"),
    "many negations": (SMALL + "hazards: {H: {must not be: '" + "NOT " * 20_000 + "hot'}}", "E214"),
    "long line": ("machine: " + "a" * 10_000_000, "E103"),
    "long line in a small file": ("machine: " + "a" * 1_000_000, "E103"),
    "large file": ("# nothing\n" * 500_000, "E103"),
    "too many entries": ("- a\n" * 250_000, "E103"),
    "wide range": ("machine: P\nparts: {a: {range: 0..1000000000000}}", "E408"),
    "endless number": ("machine: P\nparts: {a: {range: 0.." + "9" * 90_000 + "}}", "E210"),
    "endless number in an expression": (SMALL + "hazards: {H: {must not be: made = " + "9" * 90_000 + "}}", "E212"),
    "endless power": (SMALL + "hazards: {H: {must not be: 9 ** 9 ** 9 ** 9 = 1}}", "E407"),
    "endless duration": (SMALL + "plant: {p: {when: hot, after: " + "1" * 50_000 + " s, then: {hot: FALSE}}}", "E601"),
    "blanks in a duration": (SMALL + "plant: {p: {when: hot, after: '1" + " " * 90_000 + "s or', then: {hot: FALSE}}}", "E601"),
    "blanks in a range": ("machine: P\nparts: {a: {range: '1" + " " * 90_000 + "x'}}", "E210"),
    "escaped line ends": (SMALL + 'hazards: {H: {must not be: "' + "\\\n \n" * 20_000 + 'hot ="}}', "E211"),
    "null byte": ("machine: P\x00", "E102"),
    "escaped null byte": ('machine: "a\\0b"\nparts: {a: bool}', "E102"),
    "terminal codes": ("machine: \x1b[2J", "E102"),
    "next line": ("machine: P\x85parts: {a: bool}", "E102"),
    "python object": ("machine: !!python/object/apply:os.system ['echo']", "E106"),
    "merge": ("machine: P\n<<: {parts: {a: bool}}", "E106"),
    "secondary tag": ("machine: !!str P", "E106"),
    "tag directive": ("%TAG ! tag:example,2000:\n---\nmachine: P", "E106"),
    "two documents": ("machine: P\n---\nmachine: Q\n", "E107"),
    "list as key": ("? [a]\n: b\n", "E204"),
    "nothing": ("", "E108"),
    "blanks": ("  \n\n", "E108"),
    "a text": ("machine", "E108"),
    "null": ("~", "E108"),
    "endless name": ("machine: P\nparts: {" + "a" * 1_000 + ": bool}", "E304"),
    "many sensors written out": (f"{X}sensors:\n  s0: x\n{FANNED_OUT}", "E409"),
    "long chain of sensors": (
        f"{X}sensors:\n" + "".join(f"  s{i}: s{i + 1}\n" for i in range(5_000)) + "  s5000: x\n", "E409"
    ),
    "long circle of sensors": (
        f"{X}sensors:\n" + "".join(f"  s{i}: s{(i + 1) % 3000}\n" for i in range(3_000)), "E409"
    ),
    "long chain of procedures": (
        f"{X}people: {{p: {{then: {{x: TRUE}}}}}}\nprocedures:\n"
        + "".join(f"  q{i}: {{steps: [p], after: q{(i + 1) % 3000}}}\n" for i in range(3_000)),
        "E308",
    ),
    "wide choice": (f"machine: P\nparts:\n{WIDE}hazards: {{H: {{must not be: 'MUX(1, {EVERY}) = x1'}}}}", "E401"),
    "many unknown names": (SMALL + "hazards:\n" + UNKNOWN, "E301"),
    "many duplicates": ("machine: P\nparts:\n" + "  a: bool\n" * 20_000, "E203"),
    "many wrong states": (f"machine: P\nparts: {{a: [{STATES}]}}\nhazards:\n{WRONG}", "E302"),
    "many starts": (f"machine: P\nparts: {{a: {{states: [{STATES}], starts: [{STATES}, nowhere]}}}}", "E411"),
    "many states": ("machine: P\nparts: {a: [" + ",\n ".join(f"s{i}" for i in range(20_000)) + "]}", "E408"),
}  # fmt: skip


@pytest.mark.parametrize("name", HOSTILE)
def test_a_hostile_file_is_refused_within_a_second(name: str) -> None:
    text, code = HOSTILE[name]
    # What earlier tests left behind would be looked through again and again while the file is read.
    gc.collect()
    gc.freeze()
    began = time.process_time()
    machine, diagnostics = look_at(text)
    took = time.process_time() - began
    gc.unfreeze()
    assert machine is None
    assert code in {d.code.value for d in diagnostics}
    assert took < (6 if sys.gettrace() else 1), f"{took:.2f} s"


@pytest.mark.parametrize(
    ("data", "line"),
    [
        (b"\xff\xfem\x00", 1),
        (b"machine: P\xe4rts\n", 1),
        (b"\xed\xa0\x80", 1),
        (b"machine: P\nparts: {\xc3", 2),
        (b"a\r\rb\xff", 3),
    ],
)
def test_what_is_no_utf_8_is_refused_with_its_line(data: bytes, line: int) -> None:
    machine, diagnostics = look_at(data)
    assert machine is None
    assert [(d.code.value, d.span.line) for d in diagnostics] == [("E101", line)]


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_line_ends_and_a_byte_order_mark_change_nothing(end: str) -> None:
    text = SMALL + "hazards:\n  H1: {must not be: gate = opne}\n"
    plain = look_at(text)[1]
    assert look_at(b"\xef\xbb\xbf" + text.replace("\n", end).encode())[1] == plain
    assert len(plain) == 1


def test_an_undecodable_byte_after_a_mark_and_windows_line_ends_has_its_place() -> None:
    (diagnostic,) = look_at(b"\xef\xbb\xbfmachine: P\r\n# ok\r\nab\xff")[1]
    assert (diagnostic.span.line, diagnostic.span.column) == (3, 3)


def test_words_of_other_yaml_versions_are_words() -> None:
    parts = "parts: {a: [on, off], b: [y, n], c: [yes, no]}"
    assert codes(f"machine: off\n{parts}\nhazards: {{H: {{must not be: a = off AND b = n AND c = no}}}}") == []
