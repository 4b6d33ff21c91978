"""Says why a section of the page has no answer."""

from seqcheck.review.record import Review, Section


def absent(review: Review, section: Section, otherwise: str) -> str:
    """Return why a section has no answer."""
    why = [f"{one.what}: {one.why}" for one in review.unanswered if one.section is section]
    return f"Not answered: {'; '.join(why)}." if why else otherwise
