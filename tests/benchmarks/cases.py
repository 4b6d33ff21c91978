"""The machines that are measured, each with what is known of it beforehand."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from tests.benchmarks.cells import cells
from tests.benchmarks.lines import lines
from tests.outside import puzzles

DEMO = Path(__file__).parents[2] / "sequences" / "separator.yaml"
TICK = "tick: 5 s\n"


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """A machine to measure.

    *write* gives its file, *states* is how many it has (None: not known, or too many to list). Where *hazard* is named, a
    search may end at a shortest run to it; *within* is how many states lie within its least steps.
    """

    name: str
    write: Callable[[], str]
    states: int | None = None
    hazard: str | None = None
    within: int | None = None

    @property
    def to_list(self) -> int | None:
        """How many states a search that lists them must list."""
        return self.states if self.hazard is None else self.within


def demo(tick: str) -> str:
    """Return the demonstration sequence with a finer tick."""
    text = DEMO.read_text(encoding="utf-8")
    if text.count(TICK) != 1:
        raise ValueError("the demonstration sequence has no tick of 5 s")
    return text.replace(TICK, f"tick: {tick}\n")


CASES = (
    Case(name="cells-1", write=lambda: cells(1), states=7_176),
    Case(name="cells-1-bug", write=lambda: cells(1, mistake=True), states=19_896, hazard="open_turning1", within=3_420),
    Case(name="cells-2", write=lambda: cells(2), states=20_280_240),
    Case(
        name="cells-2-bug",
        write=lambda: cells(2, mistake=True),
        states=116_596_080,
        hazard="open_turning1",
        within=3_738_393,
    ),
    Case(name="cells-3", write=lambda: cells(3)),
    Case(name="cells-4-bug", write=lambda: cells(4, mistake=True), hazard="open_turning1"),
    Case(name="cells-8", write=lambda: cells(8)),
    Case(name="cells-16", write=lambda: cells(16)),
    Case(name="eight-puzzle", write=lambda: puzzles.eight_puzzle("123456780", {"far": "647850321"}), states=181_440),
    Case(name="pocket-cube", write=puzzles.pocket_cube, states=3_674_160),
    Case(name="demo", write=lambda: demo("5 s"), states=21_264),
    Case(name="demo-tenth", write=lambda: demo("500 ms"), states=157_587),
    Case(name="demo-hundredth", write=lambda: demo("50 ms"), states=4_884_342),
    Case(name="lines-1", write=lambda: lines(1), states=3_945),
    Case(name="lines-1-mistake", write=lambda: lines(1, mistake=True), states=11_065, hazard="open_turning1", within=2_097),
    Case(name="lines-2", write=lambda: lines(2), states=7_776_911),
    Case(name="lines-2-mistake", write=lambda: lines(2, mistake=True), hazard="open_turning1", within=40_860),
    Case(name="lines-4", write=lambda: lines(4)),
    Case(name="lines-4-mistake", write=lambda: lines(4, mistake=True), hazard="open_turning1", within=4_675_346),
)
QUICK = ("cells-1", "cells-1-bug", "demo", "lines-1", "lines-1-mistake")
