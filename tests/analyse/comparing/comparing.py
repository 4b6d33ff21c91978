"""Puts two texts to the comparison, without the command line."""

from seqcheck.analyse.comparing.compare import Search, compare
from seqcheck.analyse.comparing.comparison import Comparison
from seqcheck.analyse.comparing.verdicts import Subject
from seqcheck.check.machine import Machine
from seqcheck.compile.compile import compile_machine, compile_observed
from seqcheck.model.model import Model
from seqcheck.search.comparing.pair import Side
from seqcheck.search.engine import Limits
from seqcheck.search.plain.plain import PlainEngine
from seqcheck.simulate.replay import replay
from tests.analyse.asking import silent
from tests.outside.reading import machine_of


def subject(machine: Machine) -> Subject:
    """Return a machine to be compared."""

    def observing(id_: str) -> Model:
        return compile_observed(machine, id_)

    return Subject(model=compile_machine(machine), observing=observing)


def told(old: str, new: str, *renames: str, limits: Limits | None = None) -> Comparison:
    """Compare two texts; every run that is shown must be one in the simulator."""
    machines = {Side.OLD: machine_of(old), Side.NEW: machine_of(new)}
    search = Search(engine=PlainEngine(), limits=limits or Limits(), observer=silent)
    found = compare(subject(machines[Side.OLD]), subject(machines[Side.NEW]), renames, search)
    for side, run in found.runs():
        assert replay(machines[side], run).agrees, (side, run)
    return found
