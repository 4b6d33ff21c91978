"""Says why something is shown by no test."""

from seqcheck.analyse.testing.goals import COMMAND, PERMISSIVE, TRIP
from seqcheck.analyse.testing.records import Item
from seqcheck.analyse.testing.trails import Found
from seqcheck.model.model import Model

OPEN = "open: no single step, and no wait, shows it; whether it shows in the wake of others was too much to look at"


def reason(model: Model, found: Found, item: Item, *, complete: bool) -> tuple[str, bool]:
    """Return why an item is shown by no test, and whether that is only so because not all was looked at.

    *complete*: every step of the machine was looked at for it, not only those from which it can be foreseen.
    """
    if found.stopped is not None:
        return f"open: not come to before the search ended at {found.stopped.value}", True
    if item.sort == PERMISSIVE:
        return _permissive(model, found, item), False
    if item.sort == TRIP and item.number not in found.acted:
        return "not testable: it never acts in this model", False
    if not complete:
        return OPEN, True
    if item.sort == COMMAND:
        return "not testable: it is never accepted so that anything changes", False
    return f"not testable: it never acts so that {model.variables[item.place].spoken} is seen to take what it writes", False


def _permissive(model: Model, found: Found, item: Item) -> str:
    if item in found.never_fails:
        return "not testable alone: it never fails in this model"
    guards = model.steps[item.number].guards
    others = [guards[place].name for place in found.never_without.get(item, ())]
    if len(others) == 1:
        return f"not testable alone: whenever it fails, “{others[0]}” fails too"
    if others:
        return f"not testable alone: whenever it fails, these fail too: {', '.join(f'“{name}”' for name in others)}"
    return "not testable alone: whenever it fails, some other permissive fails too, not always the same"
