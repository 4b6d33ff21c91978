"""Lets time pass for whole sets of states, in strides: what a fine tick costs is the number of its digits.

As long as no timer runs out, no plant rule reaches its latest time and nothing reads how far a timer is, a number of ticks
only adds that number to every timer that counts and every clock that runs. Such stretches are taken in strides of 1, 2, 4, …
ticks; the tick itself takes the rest. What is found is exactly what tick after tick would find.
"""

from collections.abc import Iterator, Sequence

from msgspec import Struct

from seqcheck.model.idling import reads_beside, settling_reads
from seqcheck.model.model import Model, Timer, TimerKind
from seqcheck.search.symbolic.diagrams import Node, Space
from seqcheck.search.symbolic.digits import within
from seqcheck.search.symbolic.moves import Flow, Move, Moves

WORTH_STRIDES = 4
"""A model whose every duration is shorter is waited for tick by tick."""

FAR = 24
"""Ticks beyond which all waiting is done at once between steps."""


class Running(Struct, frozen=True, kw_only=True):
    """What time adds to: a variable, the states in which it runs, and the most it may come to in a stride.

    One that *stops* does so at its most; any other must not go beyond it.
    """

    variable: int
    runs: Node
    most: int
    stops: bool


class Waiting:
    """Lets time pass in one model. *strides* are moves of 1, 2, 4, … ticks, possible where nothing happens on the way.

    *far*: some duration is many ticks.
    """

    def __init__(self, space: Space, model: Model, moves: Moves, tick: Move | None) -> None:
        self._space = space
        self._model = model
        self._moves = moves
        self.tick = tick
        self.strides: list[Move] = []
        running = list(self._running())
        longest = max((one.most for one in running), default=0)
        self.far = longest >= FAR
        if tick is not None and longest >= WORTH_STRIDES:
            self._watched = {timer.variable for timer in model.timers if self._is_read(timer)}
            self.strides = [self._stride(tick, running, 1 << power) for power in range(longest.bit_length())]

    def after(self, states: Node, waited: Node | None = None) -> Node:
        """Return a set with all that waiting leads to from it. The part *waited* has that already."""
        if self.tick is None:
            return states
        found, new = states, states if waited is None else states & ~waited
        while new.satisfiable():
            for stride in self.strides:
                before, new = new, new | stride.image(new)
                if new == before:
                    break
            found |= new
            new = self.tick.image(new) & ~found
            found |= new
        return found

    def before(self, states: Node, within: Node) -> Node:
        """Return a set with all states *within* from which waiting, through such states only, leads into it."""
        if self.tick is None:
            return states
        found = new = states
        while new.satisfiable():
            for stride in self.strides:
                after, new = new, new | (stride.preimage(new) & within)
                if new == after:
                    break
            found |= new
            new = self.tick.preimage(new) & within & ~found
        return found

    def _running(self) -> Iterator[Running]:
        origin, space = self._moves.origin, self._space
        for clock in self._model.clocks:
            now = origin.variable(clock.variable)
            runs = origin.truth(clock.when) & ~now[clock.most]
            yield Running(variable=clock.variable, runs=runs, most=clock.most, stops=clock.latest is None)
        for timer in self._model.timers:
            now = origin.variable(timer.variable)
            if timer.kind is TimerKind.TP:
                runs = within(space, now, 1, timer.pt)
                yield Running(variable=timer.variable, runs=runs, most=timer.pt, stops=False)
            else:
                in_ = origin.truth(timer.input.test)
                runs = (in_ if timer.kind is TimerKind.TON else ~in_) & ~now[timer.pt]
                yield Running(variable=timer.variable, runs=runs, most=timer.pt - 1, stops=False)

    def _stride(self, tick: Move, running: Sequence[Running], ticks: int) -> Move:
        """Return the move of a number of ticks on which nothing happens."""
        possible, flows, space = tick.possible, list[Flow](), self._space
        for one in running:
            bits = space.now[one.variable]
            if one.variable in self._watched:
                possible &= ~one.runs
            elif one.stops:
                flows.append(Flow(runs=one.runs, fits=space.true, sums=tuple(stopping(space, bits, one, ticks))))
            else:
                fits = space.at_most(bits, one.most - ticks)
                possible &= ~one.runs | fits
                flows.append(Flow(runs=one.runs, fits=fits, sums=tuple(added(space, bits, ticks))))
        return self._moves.flowing(possible, flows)

    def _is_read(self, timer: Timer) -> bool:
        """Tell whether anything that acts while settling reads how far a timer is, not only whether it has run out."""
        return any(reads_beside(self._model, test, timer) for test in settling_reads(self._model))


def added(space: Space, bits: Sequence[int], ticks: int) -> Iterator[tuple[int, Node]]:
    """Yield the bits of a number with a power of two added to it, and what they become."""
    carry = space.true
    for place, bit in enumerate(bits):
        if 1 << place >= ticks:
            yield bit, space.literal(bit) ^ carry
            carry &= space.literal(bit)


def stopping(space: Space, bits: Sequence[int], one: Running, ticks: int) -> Iterator[tuple[int, Node]]:
    """Yield the bits of a number to which ticks are added, stopping at its most, and what they become."""
    fits = space.at_most(bits, one.most - ticks)
    sums = dict(added(space, bits, ticks))
    for place, bit in enumerate(bits):
        end = space.true if one.most >> place & 1 else space.false
        yield bit, fits.ite(sums.get(bit, space.literal(bit)), end)
