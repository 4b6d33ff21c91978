"""Says in words what an audit found of changes to a machine: what would keep hazards away, how far durations may change."""

from collections.abc import Iterator, Sequence

from seqcheck.analyse.auditing.margins import Bound, Margin
from seqcheck.analyse.auditing.mends import Mended, Offer, Unable
from seqcheck.report.audit_words import needs_words, wrapped
from seqcheck.report.lines import counted
from seqcheck.report.narrate import Vocabulary, duration_words


# --- mends -----------------------------------------------------------------------------------------------------------
def mended_words(mended: Sequence[Mended]) -> Iterator[str]:
    """Yield the lines on what would keep hazards away."""
    yield from wrapped(
        "What would keep a hazard away: one more permissive of a command on the run that meets it, which refuses no more than "
        "it must. Each machine mended so was searched.",
        "",
    )
    for one in mended:
        yield f"  {one.id}"
        for offer in one.offers:
            yield from wrapped(f"“{offer.command}” asks in addition: {offer.condition}", "    - ")
            yield from wrapped(offer_words(offer), "          ")
        for line in without_offer(one):
            yield from wrapped(line, "    - ")


def offer_words(offer: Offer) -> str:
    """Return in words what comes of an additional permissive."""
    also = f"; keeps away {' and '.join(offer.also)} too" if offer.also else ""
    are = "are" if len(offer.broken) > 1 else "is"
    broken = f"; but {' and '.join(offer.broken)} {are} then violated" if offer.broken else ""
    return f"admitted in {counted(offer.admitted, 'situation')}, refused in {offer.refused:,}{also}{broken}"


def without_offer(one: Mended) -> Iterator[str]:
    """Yield in words why commands have no offer."""
    if one.helpless:
        yield "it comes even if no command is ever accepted: only a trip, or the hardware, can keep it away"
        return
    if one.lost:
        lost = " and ".join(one.lost)
        yield (
            f"whatever commands ask for in addition, {lost} could then not be reached any more: only a trip, or the hardware, "
            "can keep it away"
        )
        return
    alike: dict[tuple[object, ...], list[Unable]] = {}
    for unable in one.unable:
        alike.setdefault((unable.without, unable.lost, unable.parts, unable.never), []).append(unable)
    yield from (unable_words(group) for group in alike.values())
    if not one.offers and not any(unable.parts for unable in one.unable):
        yield "whether permissives of several commands together could was not looked for"


def unable_words(group: Sequence[Unable]) -> str:
    """Return in words why commands have no offer, all for the same reason."""
    first = group[0]
    names = " and ".join(f"“{unable.command}”" for unable in group)
    one, it = ("one of these", "that one") if len(group) > 1 else ("it", "it")
    if first.without:
        return f"{names}: no permissive of {one} alone can, as the hazard comes even if {it} is never accepted"
    if first.lost:
        return f"{names}: no permissive of {one} alone can, as {' and '.join(first.lost)} could then not be reached any more"
    if first.never and not first.parts:
        return f"{names}: only if {it} is never accepted"
    if first.parts:
        return f"{names}: a permissive of {one} could, if the controller had a signal of {' and '.join(first.parts)}"
    return f"{names}: no condition was found that is short enough to be read and leaves within reach what must be"


# --- margins ---------------------------------------------------------------------------------------------------------
def margins_words(found: Sequence[Margin], recoverable: Sequence[str], words: Vocabulary) -> Iterator[str]:
    """Yield the lines on how far durations may change."""
    yield "Margins: how far one duration may change, all else being as it is, before a verdict turns"
    if recoverable and any(margin.duration.bound is Bound.LATEST for margin in found):
        yield from wrapped(
            "A longer time only adds to what can happen, so that lengths between those tried need no search, except for "
            f"{' and '.join(recoverable)}: what was not tried is not known of {'them' if len(recoverable) > 1 else 'it'}.",
            "  ",
        )
    for margin in found:
        yield from wrapped(margin_words(margin, words), "  - ")


def margin_words(margin: Margin, words: Vocabulary) -> str:
    """Return in words how far a duration may change."""
    duration, tick = margin.duration, words.tick_s
    now = duration_words(duration.ticks * tick)
    is_rule = duration.bound is Bound.LATEST
    what = f"“{duration.name}” takes {now} at most" if is_rule else f"timer {duration.name} runs {now}"
    if margin.turns_at is not None:
        return f"{what}; with {duration_words(margin.turns_at * tick)} {turned_words(margin)}"
    if margin.tried_to is None:
        return f"{what}; however long it takes, no verdict turns"
    if not is_rule and duration.ticks <= 1:
        return f"{what}, one tick: it cannot be shorter in this model"
    return f"{what}; {'up' if is_rule else 'down'} to {duration_words(margin.tried_to * tick)} no verdict turns"


def turned_words(margin: Margin) -> str:
    """Return in words which verdicts turn."""
    turned = [needs_words(margin.violated)] * bool(margin.violated)
    turned += [f"{' and '.join(margin.restored)} {'hold' if len(margin.restored) > 1 else 'holds'}"] * bool(margin.restored)
    return "; ".join(turned)
