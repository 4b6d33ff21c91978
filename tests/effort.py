"""How many random cases the slow tests try. The environment's `SEQCHECK_EFFORT=2` makes them try twice as many as written.

Without it they try half: every run draws other cases, so that many short runs look at more than a few long ones.
"""

import os

EFFORT = float(os.environ.get("SEQCHECK_EFFORT", "0.5"))


def examples(many: int) -> int:
    """Return how many cases to try where a test asks for so many."""
    return max(3, round(many * EFFORT))
