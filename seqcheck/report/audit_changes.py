"""Says in words what an audit found of changes to a machine: what would keep a hazard away, and how far durations may change."""

from collections.abc import Iterator, Sequence

from seqcheck.analyse.auditing.margins import Bound, Margin
from seqcheck.analyse.auditing.mends import Mended, Offer, Unable
from seqcheck.report.audit_words import needs_words, wrapped
from seqcheck.report.narrate import Vocabulary, duration_words
from seqcheck.report.text import counted


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
    broken = f"; but {' and '.join(offer.broken)} is then violated" if offer.broken else ""
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
    yield from (unable_words(unable) for unable in one.unable)


def unable_words(unable: Unable) -> str:
    """Return in words why a command has no offer."""
    name = f"“{unable.command}”"
    if unable.without:
        return f"{name}: no permissive of it alone can, as the hazard comes even if it is never accepted"
    if unable.lost:
        return f"{name}: no permissive of it alone can, as {' and '.join(unable.lost)} could then not be reached any more"
    if unable.parts:
        return f"{name}: a permissive of it could, if the controller had a signal of {' and '.join(unable.parts)}"
    return f"{name}: no condition was found that is short enough to be read and leaves within reach what must be"


# --- margins ---------------------------------------------------------------------------------------------------------
def margins_words(found: Sequence[Margin], recoverable: Sequence[str], words: Vocabulary) -> Iterator[str]:
    """Yield the lines on how far durations may change."""
    yield "Margins: how far one duration may change, all else being as it is, before a verdict turns"
    if recoverable and any(margin.duration.bound is Bound.LATEST for margin in found):
        yield from wrapped(
            f"Of {' and '.join(recoverable)} this is known for the lengths that were tried; of all else for those between, too.",
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
