"""A machine with more states than any limit here allows, in three words each; run as a program, it is searched to a limit."""

import sys

from seqcheck.model.model import Model
from seqcheck.search.engine import Limits
from seqcheck.search.packed.packed import PackedEngine
from tests.analyse.asking import model_of, silent

COUNTERS = 48


def wide() -> Model:
    """Return counters from 0 to 9 that count one at a time."""
    counters = range(COUNTERS)
    parts = "".join(f"  c{i}: {{range: 0..9}}\n" for i in counters)
    people = "".join(f"  count {i}: {{if: c{i} < 9, then: {{c{i}: c{i} + 1}}}}\n" for i in counters)
    return model_of(f"machine: M\nparts:\n{parts}people:\n{people}hazards:\n  far: {{must not be: c0 > 9}}\n")


if __name__ == "__main__":
    found = PackedEngine().explore(wide(), (), Limits(memory_mb=float(sys.argv[1])), silent)
    sys.stdout.write(f"{found.stopped} {found.states}\n")
