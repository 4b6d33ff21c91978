"""Follows procedures as written, whatever the plant does: where they break, where they end, by which cheapest way.

A procedure *works* if, from each state in which it may begin, whatever the plant does within its bounds: each step is possible
the moment its turn comes, before and after moves that the plant makes at that moment; each `until` ends; no settled state on
the way or at the end has a hazard; nothing fails; and every state in which it may end has `ends with`. An `until` does not end
if the plant and time can go on for ever without it: round and round, time passing on the way (without end in no time at all is
no way that a machine goes), or if neither can go on.
"""

from collections.abc import Callable, Iterable, Iterator
from enum import IntEnum
from heapq import heappop, heappush
from typing import TypeAlias

from msgspec import Struct, field

from seqcheck.analyse.procedures.components import components
from seqcheck.analyse.procedures.script import NOWHERE, Kind, Line
from seqcheck.analyse.procedures.situations import NOTHING, SHIFT, STATE, Broken, Move, Refused, Situations
from seqcheck.model import semantics
from seqcheck.model.model import State
from seqcheck.search.engine import Stop
from seqcheck.search.failing import cause

STEP = 1 << 40
"""What a step costs; a tick costs 1."""

NEVER = 1 << 100

LOOKS_EVERY = 256

Exceeded: TypeAlias = Callable[[int], Stop | None]
"""Tells what a search has come to that has visited so many situations."""


class Break(IntEnum):
    """How a procedure breaks, worst first."""

    HAZARD = 1
    FAILS = 2
    NEVER_ENDS = 3
    ENDS_OTHERWISE = 4
    REFUSED = 5
    NEVER_BEGINS = 6


class Breaking(Struct, frozen=True, kw_only=True):
    """One break and the cheapest situation in which it is seen. *bits* are hazards, or what is noted there."""

    kind: Break
    situation: int
    bits: int = 0


class Written(Struct, kw_only=True):
    """What one procedure does as written. *arrivals* are the situations in which a step's turn comes, by its cell."""

    procedure: int
    line: Line
    breaks: list[Breaking] = field(default_factory=list)
    reached: dict[int, int] = field(default_factory=dict)
    ends: list[int] = field(default_factory=list)
    arrivals: dict[int, list[int]] = field(default_factory=dict)
    by_cell: dict[int, list[int]] = field(default_factory=dict)
    stopped: Stop | None = None

    @property
    def works(self) -> bool:
        """Whether it works; not known while it was stopped."""
        return not self.breaks and self.stopped is None


class Following:
    """Follows the procedures of one model. *parents* tell from where, and how, each situation was first come to.

    *raw* maps the settled starts to starts before settling, *failed_starts* what is noted to those that never settle.
    """

    def __init__(self, situations: Situations, exceeded: Exceeded) -> None:
        self._situations = situations
        self._exceeded = exceeded
        self.parents: dict[int, tuple[int, int]] = {}
        self.raw: dict[int, State] = {}
        self.failed_starts: dict[int, State] = {}
        self._written: dict[int, Written] = {}
        self._begun = False

    def follow(self, procedure: int) -> Written:
        """Return what a procedure does as written; the one that it begins after is followed first."""
        if procedure not in self._written:
            self._written[procedure] = self._followed(procedure)
        return self._written[procedure]

    def _followed(self, procedure: int) -> Written:
        situations, after = self._situations, self._situations.model.procedures[procedure].after
        written = Written(procedure=procedure, line=situations.script.line(procedure, regardless=False))
        first = written.line.first[0] << SHIFT
        begins: dict[int, int] = {}
        if after is None:
            self._settle_starts()
            begins = dict.fromkeys((first | state for state in self.raw), 0)
            written.breaks = [Breaking(kind=Break.FAILS, situation=NOWHERE, bits=bit) for bit in self.failed_starts]
        else:
            before = self.follow(after)
            written.stopped = before.stopped
            for end in before.ends:
                begins[first | end & STATE] = before.reached[end]
                self.parents[first | end & STATE] = (end, NOTHING)
            if not begins and before.stopped is None:
                written.breaks = [Breaking(kind=Break.NEVER_BEGINS, situation=before.breaks[0].situation)]
        self._go_on(written, begins)
        if written.stopped is None:
            written.breaks += self._never_ending(written)
        cost = written.reached
        written.breaks.sort(key=lambda one: (one.kind, cost.get(one.situation, 0)))
        situations.ends[procedure] = {end & STATE for end in written.ends}
        return written

    def _settle_starts(self) -> None:
        if self._begun:
            return
        self._begun = True
        model = self._situations.model
        for raw in semantics.raw_starts(model):
            try:
                state = semantics.settle(model, raw)
            except semantics.Failed as failed:
                self.failed_starts.setdefault(self._situations.bit(Broken(cause(failed.failure))), raw)
            else:
                self.raw.setdefault(self._situations.moves.number(state), raw)

    def _go_on(self, written: Written, begins: dict[int, int]) -> None:
        """Visit what can come of the beginnings, cheapest first, up to where the procedure breaks."""
        best = dict(begins)
        heap = sorted((cost, situation) for situation, cost in begins.items())
        arrived: dict[int, dict[int, None]] = {}
        for _, situation in heap:
            arrived.setdefault(situation >> SHIFT, {})[situation] = None
        alone = self._situations.script.alone
        while heap:
            cost, situation = heappop(heap)
            if situation in written.reached:
                continue
            written.reached[situation] = cost
            written.by_cell.setdefault(situation >> SHIFT, []).append(situation)
            if (
                len(written.reached) % LOOKS_EVERY == 0
                and (stopped := self._exceeded(len(self._situations.visits))) is not None
            ):
                written.stopped = stopped
                return
            for move, after in self._looked_at(written, situation):
                cell = after >> SHIFT
                if cell == alone:
                    continue
                if cell != situation >> SHIFT:
                    arrived.setdefault(cell, {})[after] = None
                reached = cost + cost_of(move)
                if reached < best.get(after, NEVER):
                    best[after] = reached
                    self.parents[after] = (situation, move)
                    heappush(heap, (reached, after))
        written.arrivals = {cell: sorted(found, key=best.__getitem__) for cell, found in arrived.items()}

    def _looked_at(self, written: Written, situation: int) -> tuple[Move, ...]:
        """Note how the procedure breaks in a situation; return what else can come of it."""
        situations = self._situations
        hazards = situations.moves.hazard(situation & STATE) & situations.hazard_bits
        if hazards:
            note(written, Break.HAZARD, situation, hazards)
            return ()
        visit = situations.visit(situation)
        for place, noted in situations.named(visit.noted):
            note(written, Break.REFUSED if isinstance(noted, Refused) else Break.FAILS, situation, place)
        if visit.stuck:
            note(written, Break.ENDS_OTHERWISE, situation, 0)
        if situation >> SHIFT == written.line.end:
            written.ends.append(situation)
        return visit.moves

    def _never_ending(self, written: Written) -> Iterator[Breaking]:
        """Yield for each `until` that may not end the cheapest situation in which it may go on for ever."""
        for cell, found in written.by_cell.items():
            if self._situations.script.cells[cell].kind in {Kind.UNTIL, Kind.LET}:
                lasting = for_ever(self._situations, cell, found)
                if lasting:
                    cheapest = min(lasting, key=written.reached.__getitem__)
                    yield Breaking(kind=Break.NEVER_ENDS, situation=cheapest)


def note(written: Written, kind: Break, situation: int, bits: int) -> None:
    """Note a break; of several that are one, only the first seen, which is the cheapest. Each hazard counts by itself."""
    known = [one.bits for one in written.breaks if one.kind is kind]
    if kind is Break.HAZARD:
        bits &= ~sum(known)
    if bits not in {0, *known} or not (known or kind is Break.HAZARD):
        written.breaks.append(Breaking(kind=kind, situation=situation, bits=bits))


def cost_of(move: int) -> int:
    """Return what a move costs: steps first, then ticks."""
    if move < 0:
        return -move
    return 0 if move == NOTHING else STEP


def for_ever(situations: Situations, cell: int, found: Iterable[int]) -> list[int]:
    """Return the situations of a cell from which time may go on for ever without the cell being left, or nothing can go on.

    Those in which a hazard holds are left out: whoever goes through them has met it.
    """
    inside = [s for s in found if not situations.moves.hazard(s & STATE) & situations.hazard_bits]
    places = {situation: place for place, situation in enumerate(inside)}
    visits = [situations.visit(situation) for situation in inside]
    leads = [[places[after] for _, after in visit.moves if after in places] for visit in visits]
    stuck = [s for s, visit in zip(inside, visits, strict=True) if not visit.moves and not visit.noted]
    for members in components(leads):
        within = {inside[member] for member in members}
        if any(move < 0 and after in within for situation in within for move, after in situations.visit(situation).moves):
            stuck += sorted(within)
    return [situation for situation in stuck if situation >> SHIFT == cell]
