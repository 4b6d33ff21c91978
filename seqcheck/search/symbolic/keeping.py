"""Turns a search into a snapshot and takes it up again.

A snapshot's part `diagrams` is a file in the library's own format (DDDMP 2.0): the states reached so far, those seen in
layers, then layer after layer. The order of the bits follows from the model, so that it is the same again.
"""

import tempfile
from pathlib import Path

from seqcheck.search.engine import Snapshot
from seqcheck.search.symbolic.diagrams import Space
from seqcheck.search.symbolic.reaching import Reaching


def remember(space: Space, reaching: Reaching, engine: str) -> Snapshot:
    """Return a search as it stands."""
    reached = reaching.reached
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "diagrams"
        space.export(path, [reached.states, *reached.layers])
        return Snapshot(engine=engine, parts={"diagrams": path.read_bytes()})


def recalled(space: Space, reaching: Reaching, snapshot: Snapshot) -> None:
    """Put what a snapshot holds into a search that has not begun."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "diagrams"
        path.write_bytes(snapshot.parts["diagrams"])
        states, *layers = space.imported(path)
    reaching.go_on_from(states, layers)
