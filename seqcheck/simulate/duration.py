"""Says ticks as seconds, for people."""

from fractions import Fraction


def in_seconds(ticks: int, tick_s: Fraction) -> str:
    """Return a stretch of time like `1.5 s`, exact where six decimals can be."""
    text = f"{float(ticks * tick_s):.6f}".rstrip("0").rstrip(".")
    return f"{text} s"
