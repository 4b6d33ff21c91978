"""Asks the satisfiability solver about circuits. The one door to z3, which is imported with the first question."""

from collections.abc import Iterable
from itertools import chain

from msgspec import Struct

from seqcheck.proof.circuits import FALSE, TRUE, Circuits, Literal
from seqcheck.proof.form import UndecidedError


class Questions(Struct, frozen=True):
    """Asks whether literals of a circuit can all be true at once."""

    circuits: Circuits

    def ask(self, *wanted: Literal) -> frozenset[Literal] | None:
        """Return the inputs that are true in some answer, or None if not all of *wanted* can be. Raises `KeyboardInterrupt`."""
        literals = [literal for literal in wanted if literal != TRUE]
        if FALSE in literals or any(-literal in literals for literal in literals):
            return None
        gates = sorted(self.circuits.cone(literals, set()))
        names = {gate: name for name, gate in enumerate(gates, start=1)}
        said = {sign * gate: str(sign * name) for gate, name in names.items() for sign in (1, -1)}
        lines = [
            " ".join([said[literal] for literal in clause])
            for clause in (*((literal,) for literal in literals), *chain.from_iterable(map(self.circuits.clauses, gates)))
        ]
        inputs = {names[gate]: Literal(gate) for gate in gates if self.circuits.is_input(gate)}
        dimacs = " 0\n".join([f"p cnf {len(gates)} {len(lines)}\n{lines[0]}", *lines[1:], ""])
        true = _satisfy(dimacs, inputs)
        return None if true is None else frozenset(inputs[name] for name in true)


def _satisfy(dimacs: str, wanted: Iterable[int]) -> list[int] | None:
    """Return which of the *wanted* variables are true in a solution of a formula in the DIMACS format; None if it has none."""
    import z3

    solver = z3.SolverFor("QF_FD")
    solver.from_string(dimacs)
    answer = solver.check()
    if answer == z3.unsat:
        return None
    if answer != z3.sat:
        why = str(solver.reason_unknown())
        raise KeyboardInterrupt if "interrupt" in why or "cancel" in why else UndecidedError(f"the solver gives up: {why}")
    model = solver.model()
    return [name for name in wanted if z3.is_true(model.eval(z3.Bool(name)))]
