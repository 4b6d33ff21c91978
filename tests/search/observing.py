"""Says which requirements of a file are judged with an observer."""

from seqcheck.check.machine import Machine, Precedence, Response


def observed_in(machine: Machine) -> tuple[str, ...]:
    """Return the ids of the requirements on time and order."""
    return tuple(r.id for r in machine.requirements if isinstance(r.rule, Response | Precedence))
