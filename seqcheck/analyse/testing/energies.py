"""Proposes a row's energy condition by a stated rule; what the rule does not decide is for the person responsible to choose."""

from collections.abc import Iterable

from msgspec import Struct, field

from seqcheck.analyse.testing.nearness import Near, Nearness, Neighbourhoods
from seqcheck.analyse.testing.records import Energy, Item
from seqcheck.analyse.testing.showing import Showing, take
from seqcheck.analyse.testing.trails import TICK
from seqcheck.model.model import State

NEAR = (
    "A row is marked “simulated signals only” if a hazard is near should what it shows fail: if the command were accepted "
    "nevertheless, or the trip did not act, a hazard would be met at once, or could be met by what people do by hand or at the "
    "panel and what the machine does by itself, without any further command being accepted. It is so marked too where that "
    "was too much to look at, and where a hazard may be met on the row as the machine is."
)
OTHERS = "The energy condition of every other row is chosen by the person responsible: nothing in the model decides it."
RULES = (NEAR, OTHERS)


class Proposed(Struct, frozen=True, kw_only=True):
    """An energy condition, with the reason in words."""

    energy: Energy
    why: str = ""


class Energies(Struct, kw_only=True):
    """Proposes energy conditions for one machine."""

    showing: Showing
    neighbourhoods: Neighbourhoods = field(default_factory=Neighbourhoods)

    def of_refusal(self, item: Item, states: Iterable[int]) -> Proposed:
        """Propose one for a command tried in vain, in any of some states."""
        forced = (self.showing.forced(item.number, state) for state in sorted(states))
        return self._proposed(self._near(None, forced), "If the command were accepted nevertheless")

    def of_trip(self, item: Item, states: Iterable[int], move: int) -> Proposed:
        """Propose one for a step that sets off a trip, or for the wait (TICK) that does, begun in any of some states."""
        known = self.showing.moves.states
        after = [known[state] for state in sorted(states)]
        if move != TICK:
            without = self.showing.model_without(item.number)
            after = [left for state in after if (left := take(without, state, move, [])) is not None]
        return self._proposed(self._near(item.number, after), "If the trip did not act")

    def _near(self, missing: int | None, states: Iterable[State | None]) -> Nearness:
        """Tell whether a hazard is near any of some states; None is one that never settles."""
        worst = Nearness(near=Near.NO)
        model = self.showing.model if missing is None else self.showing.model_without(missing)
        neighbourhood = self.neighbourhoods.of(missing, model)
        for state in states:
            found = Nearness(near=Near.OPEN) if state is None else neighbourhood.of(state)
            if found.near is Near.YES:
                return found
            worst = found if found.near is Near.OPEN else worst
        return worst

    def _proposed(self, found: Nearness, condition: str) -> Proposed:
        if found.near is Near.NO:
            return Proposed(energy=Energy.CHOOSE)
        if found.near is Near.OPEN:
            return Proposed(energy=Energy.SIMULATED, why=f"{condition}: whether a hazard is near was too much to look at.")
        if found.hazard is None:
            return Proposed(energy=Energy.SIMULATED, why=f"{condition}, a hazard would have no value.")
        p = self.showing.model.properties[found.hazard]
        return Proposed(energy=Energy.SIMULATED, why=f"{condition}, {p.id} is near: {p.text or p.id}.")
