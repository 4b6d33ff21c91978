"""Takes a sample of reachable states by random walks, to lay out the packed states by."""

import numpy as np

from seqcheck.model.model import Model
from seqcheck.search.packed.frame import LANES
from seqcheck.search.packed.layout import Packed
from seqcheck.search.packed.program import Program
from seqcheck.search.packed.slowly import Slowly
from seqcheck.search.packed.visitor import Visitor

WALK, FAR, SEED, GATHERED = 96, 32, 1, 1 << 12
"""Steps of a walk, those after which it has come far, the seed of the random numbers (results are the same each time), and
how many states are enough."""

AROUND = 512
"""Neighbours of one state whose neighbours are taken too, at most."""

Generator = np.random.Generator


class Wanderer:
    """Walks at random. *program* only gives out moves."""

    def __init__(self, model: Model, program: Program) -> None:
        self._visitor = Visitor(program, 0, 0)
        self._slowly = Slowly(model, self._visitor)
        self._chance: Generator = np.random.default_rng(SEED)

    def sample(self, known: Packed) -> tuple[Packed, Packed]:
        """Return states a long way from those *known*, each with its neighbours and theirs; and others that lie far apart."""
        here = known[self._chance.integers(len(known), size=LANES)]
        apart = []
        for step in range(WALK):
            here = self._step(here)
            if step >= FAR:
                apart.append(here)
        gathered = here[:0]
        for state in here:
            around = np.concatenate([state[None], self._led(state[None])])
            around = np.unique(np.concatenate([around, self._led(around[:AROUND])]), axis=0)
            gathered = np.concatenate([gathered, around])
            if len(gathered) > GATHERED:
                break
        return np.unique(gathered, axis=0), np.concatenate(apart)

    def _led(self, states: Packed) -> Packed:
        """Return all successors of some states, and in `_places` their sources."""
        block = np.zeros((len(states) + LANES, states.shape[1]), np.uint64)
        block[: len(states)] = states
        self._visitor.visit(block[: len(states)], 0)
        self._slowly.settle_rest()
        both = self._visitor.by_step, self._visitor.by_tick
        self._places = np.concatenate([led.places for led in both])
        return np.concatenate([led.states for led in both])

    def _step(self, states: Packed) -> Packed:
        """Return for each state one of its successors, or itself if it has none."""
        led = self._led(states)
        order = self._chance.permutation(len(led))
        following = states.copy()
        following[self._places[order]] = led[order]
        return following
