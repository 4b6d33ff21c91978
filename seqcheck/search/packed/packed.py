"""The `packed` engine: states as bits in a few words, blocks of states interpreted at once, for millions of states.

Compiled functions interpret a program made of the model; they are the same for all models.
"""

from dataclasses import replace

from seqcheck.model.expression import Expression
from seqcheck.model.model import Model
from seqcheck.search.engine import NO_EXTRAS, Exploration, Extras, Limits, Observer, Stop
from seqcheck.search.limits import Allowance
from seqcheck.search.packed.answering import NAME, Answering
from seqcheck.search.packed.layout import laid_out, well_laid
from seqcheck.search.packed.lookout import Lookout
from seqcheck.search.packed.program import explorer, mover
from seqcheck.search.packed.searching import Search, cores
from seqcheck.search.packed.wandering import Wanderer

PILOT_STATES = 1 << 15
"""States after which the search begins anew with a layout made for the model."""


class PackedEngine:
    """Bit-packed states and a blockwise interpreter on all processors."""

    name = NAME

    def __init__(self, threads: int | None = None) -> None:
        self._threads = threads or min(cores(), 8)

    def explore(
        self,
        model: Model,
        watches: tuple[Expression, ...],
        limits: Limits,
        observer: Observer,
        extras: Extras = NO_EXTRAS,
    ) -> Exploration:
        """Search every reachable state of *model*, or as far as *limits* allow. Memory: some 10 to 50 bytes a state.

        Raises `Unfit` if a value on the way may need more than 62 bits.
        """
        with Allowance(limits) as allowance:
            lookout = Lookout(allowance=allowance, limits=limits, observer=observer)
            search = self._search(model, watches, lookout)
            return Answering(model, search, watches).answer(wants_evidence=extras.evidence)

    def _search(self, model: Model, watches: tuple[Expression, ...], lookout: Lookout) -> Search:
        """Search a little, to see how to lay out the states; then all, unless that was all already."""
        layout = laid_out(model)
        pilot = Search(model, explorer(model, layout, watches), replace(lookout, pilot_states=PILOT_STATES), 1)
        pilot.run()
        if pilot.reach.stopped is not Stop.STATES or lookout.exceeded_states(pilot.states):
            return pilot
        sample = Wanderer(model, mover(model, layout, ())).sample(pilot.sample())
        search = Search(model, explorer(model, well_laid(model, layout, sample), watches), lookout, self._threads)
        search.run()
        return search
