"""Compiles the generated source of one model and holds what the generated functions write into."""

from collections.abc import Callable, Iterable, Sequence
from contextlib import suppress
from typing import TypeAlias, cast

from msgspec import Struct, field

from seqcheck.model.expression import Expression
from seqcheck.model.model import MOST_ROUNDS, Model, State
from seqcheck.model.run import Failure
from seqcheck.model.semantics import Failed, Impossible, divide, evaluate, modulo, power, select, settle
from seqcheck.search.plain.expanding import Expanding, all_true, first_true, truths
from seqcheck.search.plain.settling import FEW_ROUNDS, Settling, Sites
from seqcheck.search.plain.source import Fallibility

STEP = 1 << 40
"""One step in a key; what is left of a key is its time in ticks."""

NEVER = 1 << 100
"""A key beyond all others."""

Namespace: TypeAlias = dict[str, object]
Expand: TypeAlias = Callable[[Sequence[State], int, list[State], list[State], int], int]
Edges: TypeAlias = Callable[[Sequence[State], int, dict[State, int], list[int], list[int]], None]
FaultEdges: TypeAlias = Callable[[Sequence[State], list[tuple[State, int, State]]], None]


WRITTEN = (
    "seen", "cost", "found", "unjudged", "made", "troubles", "jammed", "dead", "failed", "best", "acted", "passing",
    "number_of", "source", "target",
)  # fmt: skip
"""What generated code writes on the board."""


def limit(low: int, value: int, high: int) -> int:
    """LIMIT of IEC 61131-3."""
    return min(max(value, low), high)


class Board(Struct):
    """What the generated functions write: the visited states with their parents, and all that was noticed on the way.

    *cost* holds the keys of states that wait to be expanded (timed machines only); *found*, *unjudged* and *troubles* map to
    a state and a key; *made* to a state and the step taken there. Where transitions are noted, *number_of* numbers the states
    as they are found; *source* and *target* are, for each transition that is no fault, the place of its state among those
    visited, and the number of the state that it leads to.
    """

    properties: int
    reactions: int
    seen: dict[State, State | None] = field(default_factory=dict)
    cost: dict[State, int] = field(default_factory=dict)
    found: dict[int, tuple[State, int]] = field(default_factory=dict)
    unjudged: dict[int, tuple[State, int]] = field(default_factory=dict)
    made: dict[int, tuple[State, int]] = field(default_factory=dict)
    troubles: dict[tuple[int, int], tuple[State, int]] = field(default_factory=dict)
    jammed: list[State] = field(default_factory=list)
    dead: list[State] = field(default_factory=list)
    failed: list[int] = field(default_factory=lambda: [0])
    open: bytearray = field(default_factory=bytearray)
    best: list[int] = field(default_factory=list)
    acted: bytearray = field(default_factory=bytearray)
    passing: bytearray = field(default_factory=bytearray)
    number_of: dict[State, int] = field(default_factory=dict)
    source: list[int] = field(default_factory=list)
    target: list[int] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.open = bytearray(b"\1" * self.properties)
        self.best = [NEVER] * self.properties
        self.acted = bytearray(self.reactions)
        self.passing = bytearray(self.properties)


def namespace(board: Board, slow: Callable[[State], State | None]) -> Namespace:
    """Return all that generated code may name: a few harmless functions, and the board."""
    builtins = {"range": range, "min": min, "max": max, "abs": abs, "all": all, "any": any, "enumerate": enumerate, "len": len}
    names: Namespace = {"__builtins__": builtins, "Impossible": Impossible, "limit": limit, "slow": slow, "STEP": STEP}
    names |= {"divide": divide, "modulo": modulo, "power": power, "select": select, "open_": board.open}
    return names | {name: getattr(board, name) for name in WRITTEN}


class Compiled:
    """The generated functions of one model. *notes*: `expand` notes every transition that is no fault."""

    def __init__(self, model: Model, board: Board, *, notes: bool = False) -> None:
        self._model = model
        self._board = board
        self._slow_sites: dict[Failure, int] = {}
        self._fallibility = Fallibility(model)
        sites = Sites()
        settling = Settling(model, self._fallibility, sites)
        self._expanding = Expanding(model, self._fallibility, settling, sites)
        self._moving_hazards = settling.hazards(settling.written)
        self._names = namespace(board, self._slow)
        lines = settling.source() if settling.needed else []
        self._run([*lines, *truths(model, self._fallibility), *self._expanding.expand(notes=notes)])
        self.expand = cast(Expand, self._names["expand"])
        self._settle = cast(Callable[..., State | None], self._names["settle"]) if settling.needed else None
        self.timed = self._expanding.timed

    def note_start(self, raw: State) -> None:
        """Note on the board what acts, and which hazards hold in passing, while a start settles."""
        if self._settle is not None:
            self._settle(*raw)

    def recall_site(self, failure: Failure, site: int) -> None:
        """Give the failure of slow settling the site that it had in a search that is taken up again."""
        self._slow_sites[failure] = -1 - site

    def edges(self) -> Edges:
        """Return the function that lists the transitions that are no fault."""
        self._run(self._expanding.edges())
        return cast(Edges, self._names["edges"])

    def fault_edges(self) -> FaultEdges:
        """Return the function that lists the faults that can occur."""
        self._run(self._expanding.fault_edges())
        return cast(FaultEdges, self._names["fault_edges"])

    def some(self, tests: Iterable[Expression], states: Sequence[State]) -> frozenset[int]:
        """Return the numbers of those *tests* that no state has."""
        tests = tuple(tests)
        self._run(first_true(self._model, self._fallibility, tests))
        functions = [cast(Callable[[Sequence[State]], bool], self._names[f"some{n}"]) for n in range(len(tests))]
        return frozenset(number for number, some in enumerate(functions) if not some(states))

    def places(self, test: Expression, states: Sequence[State]) -> list[int]:
        """Return the places in *states* of those that have *test*."""
        self._run(all_true(self._model, self._fallibility, test))
        return cast(Callable[[Sequence[State]], list[int]], self._names["places"])(states)

    def _slow(self, state: State) -> State | None:
        """Go on settling where the generated function gave up, by the plain definition."""
        try:
            return settle(self._model, state, self._note_round, most_rounds=MOST_ROUNDS - FEW_ROUNDS)
        except Failed as failed:
            self._board.failed[0] = -1 - self._slow_sites.setdefault(failed.failure, len(self._slow_sites))
            return None

    def _note_round(self, _reactions: list[str], values: State) -> None:
        """Note the hazards that hold after a round of slow settling."""
        for number, test in self._moving_hazards:
            if not self._board.passing[number]:
                with suppress(Impossible):
                    self._board.passing[number] = bool(evaluate(self._model, test, values))

    def _run(self, lines: list[str]) -> None:
        source = "\n".join(lines)
        exec(compile(source, "<generated from the model>", "exec"), self._names)  # noqa: S102 - made of integers and our names
