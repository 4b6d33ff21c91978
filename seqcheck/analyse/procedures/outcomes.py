"""Works out, for all situations at once, what can come of each in the end: hazards, refusals, ends, being stuck.

What comes of a situation is what is seen there and what comes of all situations that it leads to. Past a situation in which a
hazard holds only other hazards count: whoever goes through it has met it.
"""

from collections.abc import Callable, Collection, Iterable
from functools import partial

from seqcheck.analyse.procedures.components import components
from seqcheck.analyse.procedures.script import Kind
from seqcheck.analyse.procedures.situations import LOST, MAYBE_LOST, OPEN, SHIFT, STATE, WAY_OUT, Situations
from seqcheck.analyse.procedures.ways_out import Asked, WaysOut
from seqcheck.analyse.procedures.written import LOOKS_EVERY, for_ever


class Outcomes:
    """What can come of the situations that some roots lead to. *complete*: all of them were looked at."""

    def __init__(self, situations: Situations, roots: Iterable[int], may_go_on: Callable[[int], bool]) -> None:
        self._situations = situations
        self._may_go_on = may_go_on
        self._places: dict[int, int] = {}
        self._order: list[int] = []
        self.complete = self._explore(roots)
        self.stuck: set[int] = set()
        self.asked: dict[int, Asked] = {}
        self._find_stuck()
        self.ways_complete = self._find_ways_out()
        self.hazards: list[int] = []
        self.comes_to: list[int] = []
        self._add_up()

    def _explore(self, roots: Iterable[int]) -> bool:
        places, order, visit = self._places, self._order, self._situations.visit
        for root in roots:
            if root not in places:
                places[root] = len(order)
                order.append(root)
        for count, situation in enumerate(order):
            if count % LOOKS_EVERY == 0 and not self._may_go_on(count):
                self._seen = count
                return False
            for _, after in visit(situation).moves:
                if after not in places:
                    places[after] = len(order)
                    order.append(after)
        self._seen = len(order)
        return True

    def place(self, situation: int) -> int:
        """Return where a situation stands in `hazards` and `comes_to`."""
        return self._places[situation]

    def is_seen(self, situation: int) -> bool:
        """Tell whether a situation was looked at before a limit was reached."""
        return self._places.get(situation, self._seen) < self._seen

    # --- being stuck ---
    def _find_stuck(self) -> None:
        """Find where a procedure is through and ends otherwise, or never ends; and ask for ways out, from refusals too."""
        situations, cells = self._situations, self._situations.script.cells
        lasting: dict[int, list[int]] = {}
        asked: dict[int, set[int]] = {}
        for situation in self._order[: self._seen]:
            cell = cells[situation >> SHIFT]
            visit = situations.visit(situation)
            if cell.kind in {Kind.UNTIL, Kind.LET}:
                lasting.setdefault(situation >> SHIFT, []).append(situation)
            elif visit.stuck and not visit.hazards:
                self.stuck.add(situation)
            elif visit.stops:
                asked.setdefault(cell.procedure, set()).add(situation & STATE)
        for number, found in lasting.items():
            self.stuck.update(for_ever(situations, number, found))
        for situation in self.stuck:
            asked.setdefault(cells[situation >> SHIFT].procedure, set()).add(situation & STATE)
        self.asked = {
            number: Asked(states=sorted(states), wanted=self._wanted(number)) for number, states in sorted(asked.items())
        }

    def _wanted(self, procedure: int) -> Callable[[Collection[int]], Collection[int]]:
        """Return what picks the good ends: the states with `ends with`, or else those in which the procedure may end."""
        ends_with = self._situations.model.procedures[procedure].ends_with
        if ends_with is None:
            ends = self._situations.ends[procedure]
            return lambda states: sorted(ends.intersection(states))
        return partial(self._situations.moves.having, ends_with.test)

    def _find_ways_out(self) -> bool:
        if not self.asked:
            return True
        ways = WaysOut(self._situations.moves, tuple(self.asked.values()), self._may_go_on)
        ways.search()
        return not ways.stopped

    def way_out(self, situation: int) -> list[int]:
        """Return the moves of a shortest way out of a situation that has one."""
        return self.asked[self._situations.script.cells[situation >> SHIFT].procedure].way(situation & STATE)

    def stuck_bit(self, situation: int) -> int:
        """Return the bit that says how a situation is stuck; 0 if it is not."""
        visit = self._situations.visit(situation)
        if situation not in self.stuck and not visit.stops:
            return 0
        asked = self.asked[self._situations.script.cells[situation >> SHIFT].procedure]
        if situation & STATE in asked.steps:
            return 0 if visit.stops else WAY_OUT
        if not self._has_a_good_end(situation):
            return 0 if visit.stops else MAYBE_LOST
        return LOST if self.ways_complete else MAYBE_LOST

    def _has_a_good_end(self, situation: int) -> bool:
        """Tell whether it is known what a good end is: without `ends with`, only if the procedure ends as written."""
        number = self._situations.script.cells[situation >> SHIFT].procedure
        return self._situations.model.procedures[number].ends_with is not None or bool(self._situations.ends[number])

    # --- adding up ---
    def own(self, situation: int) -> int:
        """Return what is noted in a situation itself, unless a hazard holds there."""
        if not self.is_seen(situation):
            return OPEN
        visit = self._situations.visit(situation)
        return 0 if visit.hazards else visit.noted | self.stuck_bit(situation)

    def _add_up(self) -> None:
        visits = [self._situations.visit(situation) for situation in self._order[: self._seen]]
        leads = [[self._places[after] for _, after in visit.moves] for visit in visits]
        leads += [[] for _ in range(len(self._order) - self._seen)]
        open_ = 1 << len(self._situations.moves.hazards)
        hazards = [visit.hazards for visit in visits] + [open_] * (len(self._order) - self._seen)
        order = components(leads)
        self.hazards = summed(leads, hazards, order) if any(hazards) else hazards
        own = [self.own(situation) for situation in self._order]
        if any(hazards):
            leads = [[] if hazard else after for after, hazard in zip(leads, hazards, strict=True)]
            order = components(leads)
        self.comes_to = summed(leads, own, order)


def summed(leads: list[list[int]], own: list[int], order: list[list[int]]) -> list[int]:
    """Return for each node its own bits and those of all that it leads to; *order* are the components, last ones first."""
    total = list(own)
    for members in order:
        bits = 0
        for member in members:
            bits |= own[member]
            for after in leads[member]:
                bits |= total[after]
        for member in members:
            total[member] = bits
    return total
