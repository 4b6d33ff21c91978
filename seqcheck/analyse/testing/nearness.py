"""Tells whether a hazard is near if a refusal, or a trip, failed: met at once, or without any further command being accepted.

From where the failure leads, people may do anything by hand and at the panel, the plant may move and time may pass; only
commands are not accepted. That is on the side of caution: a hazard that needs somebody's hand counts as near.
"""

from enum import Enum

from msgspec import Struct, field
from msgspec.structs import replace

from seqcheck.analyse.procedures.moving import FAILED, NOT_YET, Moves
from seqcheck.model.expression import Apply, Op
from seqcheck.model.model import Hazard, Model, State
from seqcheck.model.run import StepKind

MOST = 20_000
"""States that are looked at for one question, and three times as many for all of one machine."""


class Near(Enum):
    """Whether a hazard is near."""

    YES = "yes"
    NO = "no"
    OPEN = "open"


class Nearness(Struct, frozen=True, kw_only=True):
    """Whether a hazard is near, and the number of the property that it is."""

    near: Near
    hazard: int | None = None


class Neighbourhood:
    """Looks round states of one machine without commands; *model* lacks what has failed."""

    def __init__(self, model: Model) -> None:
        kept = tuple(step for step in model.steps if step.kind is not StepKind.COMMAND)
        self._moves = Moves(replace(model, steps=kept))
        tests = tuple(p.rule.must_not_be.test for p in model.properties if isinstance(p.rule, Hazard))
        self._any = tests[0] if len(tests) == 1 else Apply(Op.OR, tests)
        self._has_hazards = bool(tests)
        self._harmless: set[int] = set()

    def of(self, state: State) -> Nearness:
        """Tell whether a hazard is near a state."""
        if not self._has_hazards:
            return Nearness(near=Near.NO)
        moves = self._moves
        first = moves.number(state)
        seen, pending = {first}, [first]
        for here in pending:
            if here in self._harmless:
                continue
            met = moves.hazard(here) if moves.truth(self._any, here) else 0
            if met:
                place = (met & -met).bit_length() - 1
                return Nearness(near=Near.YES, hazard=moves.hazards[place] if place < len(moves.hazards) else None)
            if len(seen) > MOST or len(moves.states) > 3 * MOST:
                return Nearness(near=Near.OPEN)
            for after in (*(other for _, other in moves.everything(here)), moves.tick(here)):
                if after not in seen and after not in {FAILED, NOT_YET}:
                    seen.add(after)
                    pending.append(after)
        self._harmless |= seen
        return Nearness(near=Near.NO)


class Neighbourhoods(Struct, kw_only=True):
    """The neighbourhoods of one machine with nothing missing (key None), or without one trip."""

    made: dict[int | None, Neighbourhood] = field(default_factory=dict)

    def of(self, missing: int | None, model: Model) -> Neighbourhood:
        """Return the neighbourhood for a model from which something is missing."""
        if missing not in self.made:
            self.made[missing] = Neighbourhood(model)
        return self.made[missing]
