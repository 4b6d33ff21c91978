"""Boolean circuits with shared gates, and their clauses. A literal is a whole number: 1 is true, -n is NOT n."""

from collections.abc import Iterable, Iterator
from typing import NewType

Literal = NewType("Literal", int)

TRUE = Literal(1)
FALSE = Literal(-1)


def inverse(a: Literal) -> Literal:
    """Return NOT *a*."""
    return Literal(-a)


class Circuits:
    """Builds gates; equal gates are one. A gate is (a, b) for AND or (c, a, b) for "a if c else b"; inputs have none.

    No gate has a constant among its literals: it would be no gate but one of them.
    """

    def __init__(self) -> None:
        self._gates: list[tuple[Literal, ...]] = [(), ()]
        self._known: dict[tuple[Literal, ...], Literal] = {}

    def input(self) -> Literal:
        """Return a new free literal."""
        self._gates.append(())
        return Literal(len(self._gates) - 1)

    def _gate(self, key: tuple[Literal, ...]) -> Literal:
        found = self._known.get(key)
        if found is None:
            self._gates.append(key)
            found = self._known[key] = Literal(len(self._gates) - 1)
        return found

    def both(self, a: Literal, b: Literal) -> Literal:
        """Return a AND b."""
        if FALSE in {a, b} or a == -b:
            return FALSE
        if a in {TRUE, b}:
            return b
        if b == TRUE:
            return a
        return self._gate((a, b) if a < b else (b, a))

    def either(self, a: Literal, b: Literal) -> Literal:
        """Return a OR b."""
        return inverse(self.both(inverse(a), inverse(b)))

    def all(self, literals: Iterable[Literal]) -> Literal:
        """Return the conjunction."""
        result = TRUE
        for literal in literals:
            result = self.both(result, literal)
        return result

    def any(self, literals: Iterable[Literal]) -> Literal:
        """Return the disjunction."""
        result = FALSE
        for literal in literals:
            result = self.either(result, literal)
        return result

    def choose(self, c: Literal, a: Literal, b: Literal) -> Literal:
        """Return a if c, else b."""
        if a == b or c == TRUE:
            return a
        if c == FALSE:
            return b
        if c < 0:
            c, a, b = inverse(c), b, a
        if a in {TRUE, c}:
            return self.either(c, b)
        if a in {FALSE, -c}:
            return self.both(inverse(c), b)
        if b in {FALSE, c}:
            return self.both(c, a)
        if b in {TRUE, -c}:
            return self.either(inverse(c), a)
        if a < 0:
            return inverse(self._gate((c, inverse(a), inverse(b))))
        return self._gate((c, a, b))

    def differ(self, a: Literal, b: Literal) -> Literal:
        """Return a XOR b."""
        return self.choose(a, inverse(b), b)

    def cone(self, roots: Iterable[Literal], done: set[int]) -> Iterator[int]:
        """Yield the gates and inputs that *roots* rest on and that are not in *done* yet, and add them to it."""
        pending = [abs(root) for root in roots]
        while pending:
            here = pending.pop()
            if here == 1 or here in done:
                continue
            done.add(here)
            yield here
            pending.extend(abs(part) for part in self._gates[here])

    def is_input(self, gate: int) -> bool:
        """Tell whether a literal is an input."""
        return not self._gates[gate]

    def clauses(self, gate: int) -> tuple[tuple[int, ...], ...]:
        """Return the clauses that define a gate (none for an input)."""
        match self._gates[gate]:
            case (a, b):
                return ((-gate, a), (-gate, b), (gate, -a, -b))
            case (c, a, b):
                always = ((-gate, a, b), (gate, -a, -b))
                return ((-gate, -c, a), (-gate, c, b), (gate, -c, -a), (gate, c, -b), *always)
            case _:
                return ()
