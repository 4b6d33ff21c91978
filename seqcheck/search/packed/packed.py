"""The `packed` engine: states as bits in a few words, blocks of states interpreted at once, for millions of states.

Compiled functions interpret a program made of the model; they are the same for all models.
"""

from collections.abc import Callable

from msgspec import Struct
from msgspec.structs import replace

from seqcheck.model.expression import Expression
from seqcheck.model.model import Model
from seqcheck.search.engine import NO_EXTRAS, Exploration, Extras, Keeper, Limits, Observer, Snapshot, Stop
from seqcheck.search.limits import Allowance
from seqcheck.search.packed.answering import NAME, Answering
from seqcheck.search.packed.choosing import well_laid
from seqcheck.search.packed.layout import laid_out
from seqcheck.search.packed.lookout import FINISHING_S, KEEPING_S, Lookout
from seqcheck.search.packed.program import explorer, mover
from seqcheck.search.packed.searching import Search, cores

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
        """Search every reachable state of *model*, or as far as *limits* allow. Memory: some 10 to 80 bytes a state.

        Raises `Unfit` if a value on the way may need more than 62 bits.
        """
        with Allowance(limits) as allowance:
            lookout = Lookout(
                allowance=allowance,
                limits=limits,
                observer=observer,
                to_the_first=extras.first,
                keep=keeping(extras.keeper, at_the_end=False),
                finishing_s=FINISHING_S + (KEEPING_S if extras.keeper is not None else 0),
            )
            kept = extras.keeper.kept(NAME) if extras.keeper is not None else None
            search = Task(model, watches, lookout, self._threads).search(kept)
            keep = keeping(extras.keeper, at_the_end=True)
            keep(search)
            was_stopped = search.reach.stopped is not None
            answer = Answering(model, search, watches).answer(wants_evidence=extras.evidence)
            if search.reach.stopped is not None and not was_stopped:
                keep(search)
            return answer


def keeping(keeper: Keeper | None, *, at_the_end: bool) -> Callable[[Search], None]:
    """Return what saves a snapshot of a search if it is time to or, at the end, if it has been stopped."""

    def keep(search: Search) -> None:
        from seqcheck.search.packed.remembering import snapshot

        stopped = at_the_end and search.reach.stopped is not None
        if keeper is not None and not search.reach.torn and (keeper.due() or stopped):
            keeper.save(snapshot(search, NAME))

    return keep if keeper is not None else lambda _search: None


class Task(Struct, frozen=True):
    """What is to be searched."""

    model: Model
    watches: tuple[Expression, ...]
    lookout: Lookout
    threads: int

    def search(self, kept: Snapshot | None) -> Search:
        """Search a little, to see how to lay out the states; then all, unless that was all. Or go on from a snapshot."""
        layout = laid_out(self.model)
        piloting = replace(self.lookout, pilot_states=PILOT_STATES)
        if kept is None:
            pilot = Search(self.model, explorer(self.model, layout, self.watches), piloting, 1)
        else:
            from seqcheck.search.packed.remembering import Recalling

            recalling = Recalling(self.model, self.watches, kept)
            pilot = recalling.search(piloting if recalling.is_pilot else self.lookout)
        if pilot.reach.stopped is None:
            pilot.run()
        if pilot.lookout.pilot_states is None or not self._is_stopped_pilot(pilot):
            return pilot
        from seqcheck.search.packed.wandering import Wanderer

        near, apart = Wanderer(self.model, mover(self.model, layout, ())).sample(pilot.sample())
        better = well_laid(self.model, layout, near, apart)
        del pilot
        search = Search(self.model, explorer(self.model, better, self.watches), self.lookout, self.threads)
        search.run()
        return search

    def _is_stopped_pilot(self, pilot: Search) -> bool:
        return pilot.reach.stopped is Stop.STATES and not self.lookout.exceeded_states(pilot.states)
