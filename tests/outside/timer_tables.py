"""IEC 61131-3 timers as rows, one column a tick, PT = 3 ticks, ET after the call; and a file that plays a row to a timer.

Behaviour: IEC 61131-3, function blocks TON, TOF, TP. Rows: worked out by an independent program. A TOF in the standard starts
with ET 0; the language here starts it timed out, which the rows do not touch (IN is 1 in the first column).
"""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """What goes into a timer and what comes out, a character a tick."""

    kind: str
    in_: str
    q: str
    et: str


PT = 3
ROWS = (
    Row(kind="TON", in_="0111110110", q="0000110000", et="0012330010"),
    Row(kind="TOF", in_="1100001010000", q="1111101111110", et="0001230000123"),
    Row(kind="TP", in_="0101000111110", q="0111000111000", et="0012000012330"),
)


def by_hand(row: Row) -> str:
    """Return a file whose panel item IN is the timer's input, to be set by hand."""
    return f"""machine: A timer by hand
tick: 1 s
parts:
  nothing: bool
panel:
  in_button: bool
timers:
  t: {{kind: {row.kind}, in: in_button, pt: {PT} s}}
"""


def played(row: Row) -> str:
    """Return a file that plays the row by itself: each second the next column comes."""
    columns = ", ".join({"0": "FALSE", "1": "TRUE"}[c] for c in row.in_)
    last = len(row.in_) - 1
    lines = [
        "machine: A timer that is played to",
        "tick: 1 s",
        "parts:",
        f"  column: {{range: 0..{last}}}",
        "sensors:",
        f"  in_now: 'MUX(column, {columns})'",
        "timers:",
        f"  t: {{kind: {row.kind}, in: in_now, pt: {PT} s}}",
        "plant:",
        f"  next column: {{when: column < {last}, after: 1 s, then: {{column: column + 1}}}}",
        "requirements:",
        *(f"  C{i}: {{reachable: column = {i}}}" for i in range(last + 1)),
    ]
    return "\n".join(lines) + "\n"
