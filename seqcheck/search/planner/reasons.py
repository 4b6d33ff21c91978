"""Says in words why an engine answered, and what there is to say where none came to the end."""

from collections.abc import Mapping, Sequence

from msgspec.structs import replace

from seqcheck.model.model import Model
from seqcheck.search.engine import Exploration, Stop
from seqcheck.search.planner.job import Fate


def bits(model: Model) -> int:
    """Return how many bits hold any state of a machine."""
    return sum((variable.highest - variable.lowest).bit_length() for variable in model.variables)


def told(model: Model, fates: Mapping[str, tuple[Fate, str]]) -> str:
    """Return the size of a machine and what became of the other engines."""
    others = [fate.value.format(engine=engine, why=why) for engine, (fate, why) in fates.items()]
    return "; ".join([f"the machine has {bits(model)} bits of state", *others])


def nothing(model: Model, engine: str, stopped: Stop) -> Exploration:
    """Return what is known of a search that was ended before it could say anything."""
    return Exploration(
        states=0,
        transitions=0,
        stopped=stopped,
        complete_steps=-1,
        found={},
        failures=(),
        unjudged={},
        never=frozenset(),
        entered=tuple(frozenset() for _ in model.variables),
        acted=frozenset(),
        passing=frozenset(),
        dead_ends=None,
        time_stuck=None,
        engine=engine,
    )


def furthest(partial: Sequence[Exploration], stopped: Stop) -> Exploration:
    """Return the search that covered most steps, and then most states, with what others found that it has not."""
    best = max(partial, key=lambda one: (-1 if one.complete_steps is None else one.complete_steps, one.states))
    found, unjudged = dict(best.found), dict(best.unjudged)
    for other in partial:
        found = dict(other.found) | found
        unjudged = dict(other.unjudged) | unjudged
    return replace(best, found=found, unjudged=unjudged, stopped=stopped)
