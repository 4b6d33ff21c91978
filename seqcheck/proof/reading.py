"""Reads the text of a proof file. Whatever is wrong with it is a `NotAProofError`; what it claims is not judged here."""

import hashlib
import json
from collections.abc import Callable, Iterator
from typing import TypeVar

from seqcheck.model.run import By, StepKind
from seqcheck.proof.form import (
    BUILT_IN,
    ByLayers,
    ByRanks,
    ByRun,
    CaseProof,
    Claim,
    Domain,
    Drawn,
    Listed,
    NotAProofError,
    OverSet,
    Proof,
    StateSet,
    Table,
)  # fmt: skip
from seqcheck.proof.packing import summed, unpacked
from seqcheck.proof.shapes import Json, about, act, domain, layered, pairs, texts, values, whole
from seqcheck.proof.text import DIGEST, FIRST

T = TypeVar("T")
ACTS = {kind.value: kind for kind in StepKind if kind is not StepKind.WAIT}


def read_proof(data: bytes) -> Proof:
    """Return the proof in the bytes of a file, its digest checked. Raises `NotAProofError`."""
    return Reader(checked_text(data)).proof()


def checked_text(data: bytes) -> str:
    """Return what the digest stands for. Raises `NotAProofError`."""
    if not data.startswith(FIRST.encode() + b"\n"):
        raise NotAProofError(f"the file does not begin with “{FIRST}”")
    at = data.rfind(b"\n", 0, -1) + 1
    body, last = data[:at], data[at:]
    if last != f"{DIGEST}{hashlib.sha256(body).hexdigest()}\n".encode():
        raise NotAProofError("the digest at the end does not match: the file is damaged or has been changed")
    try:
        return body.decode("utf-8")
    except UnicodeDecodeError:
        raise NotAProofError("the file is no UTF-8 text") from None


class Reader:
    """Reads line by line."""

    def __init__(self, text: str) -> None:
        self._lines = text.split("\n")[:-1]
        self._at = 1

    def proof(self) -> Proof:
        """Return everything."""
        machine, sha256, tick = (self._text(word) for word in ("machine", "sequence", "tick"))
        cases = []
        while self._at < len(self._lines):
            cases.append(self._case())
        if len({(frozenset(case.faults), case.observed) for case in cases}) != len(cases):
            self._bad("a set of faults stands twice")
        return Proof(machine=machine, sha256=sha256, tick=tick, cases=tuple(cases))

    def _bad(self, why: str) -> NotAProofError:
        raise NotAProofError(f"line {self._at}: {why}")

    def _word(self) -> str:
        """Return the first word of the next line."""
        return self._lines[self._at].split(" ", 1)[0] if self._at < len(self._lines) else ""

    def _value(self, word: str) -> Json:
        """Return what stands after the word that must come next."""
        if self._word() != word:
            raise self._bad(f"“{word}” is missing")
        self._at += 1
        try:
            value: Json = json.loads(self._lines[self._at - 1][len(word) :])
        except (ValueError, RecursionError):
            raise self._bad(f"what follows “{word}” cannot be read") from None
        return value

    def _text(self, word: str) -> str:
        value = self._value(word)
        if not isinstance(value, str):
            raise self._bad(f"“{word}” must be followed by a text")
        return value

    def _shaped(self, word: str, shape: Callable[[Json], T]) -> T:
        """Return what stands after a word in a shape; the shape raises `ValueError`."""
        value = self._value(word)
        try:
            return shape(value)
        except (ValueError, KeyError):
            raise self._bad(f"what follows “{word}” has not the form that it must have") from None

    def _repeated(self, word: str, shape: Callable[[Json], T]) -> Iterator[T]:
        while self._word() == word:
            yield self._shaped(word, shape)

    def _block(self) -> list[str]:
        """Return the lines up to “end”."""
        first = self._at
        try:
            self._at = self._lines.index("end", first) + 1
        except ValueError:
            raise self._bad("“end” is missing") from None
        return self._lines[first : self._at - 1]

    def _case(self) -> CaseProof:
        faults = self._shaped("case", texts)
        observed = self._text("observed") if self._word() == "observed" else ""
        domains = tuple(self._repeated("variable", domain))
        tables: list[Table] = []
        while self._word() == "diagram":
            tables.append(self._table(domains))
        states = self._states(tables)
        claims = tuple(self._claims(tables, states))
        if len({(claim.kind in BUILT_IN, claim.kind if claim.kind in BUILT_IN else claim.id) for claim in claims}) != len(
            claims
        ):
            self._bad("something is claimed twice")
        unproved = self._shaped("unproved", texts)
        return CaseProof(
            faults=faults,
            observed=observed,
            domains=domains,
            tables=tuple(tables),
            states=states,
            claims=claims,
            not_proved=unproved,
        )

    def _table(self, domains: tuple[Domain, ...]) -> Table:
        order = self._shaped("diagram", pairs)
        for variable, bit in order:
            if variable >= len(domains) or bit >= (domains[variable].highest - domains[variable].lowest).bit_length():
                self._bad("a diagram names a bit that there is not")
        if len(set(order)) != len(order):
            self._bad("a diagram names a bit twice")
        nodes: list[tuple[int, int, int]] = []
        first = self._at
        for number, line in enumerate(self._block()):
            node = _node(line)
            if node is None or node[0] >= len(order) or not _is_above(node, nodes):
                self._at = first + number + 1
                raise self._bad("this is no node of the diagram")
            nodes.append(node)
        return Table(order=order, nodes=tuple(nodes))

    def _states(self, tables: list[Table]) -> StateSet | None:
        if self._word() == "set":
            return self._drawn(self._shaped("set", lambda value: pairs([value])[0]), tables)
        if self._word() != "states":
            return None
        count = self._shaped("states", whole)
        numbers = summed(unpacked(self._block()))
        if len(numbers) != count:
            self._bad("the list has not as many states as it says")
        return Listed(numbers=numbers)

    def _drawn(self, pair: tuple[int, int], tables: list[Table]) -> Drawn:
        if pair[0] >= len(tables) or pair[1] >= len(tables[pair[0]].nodes) + 2:
            self._bad("this is no node of a diagram")
        return Drawn(table=pair[0], root=pair[1])

    def _claims(self, tables: list[Table], states: StateSet | None) -> Iterator[Claim]:
        while (word := self._word()) in {"proved", "run", "ranks", "layers"}:
            if word == "proved" and states is not None:
                kind, id_ = self._shaped(word, about)
                yield OverSet(kind=kind, id=id_)
            elif word == "run":
                yield self._run()
            elif word == "ranks" and isinstance(states, Listed):
                kind, id_ = self._shaped(word, about)
                ranks = tuple(rank - 1 for rank in unpacked(self._block()))
                if len(ranks) != len(states.numbers):
                    self._bad("there is not one rank for each state")
                yield ByRanks(kind=kind, id=id_, ranks=ranks)
            elif word == "layers" and isinstance(states, Drawn):
                kind, id_, roots = self._shaped(word, layered)
                yield ByLayers(kind=kind, id=id_, layers=tuple(self._drawn(root, tables) for root in roots))
            else:
                self._bad(f"“{word}” does not go with the set of states that stands here")

    def _run(self) -> ByRun:
        kind, id_ = self._shaped("run", about)
        start = self._shaped("start", values)
        steps: list[tuple[By, int]] = []
        while (word := self._word()) != "end":
            if word == "wait":
                steps.append((By(kind=StepKind.WAIT), self._shaped(word, whole)))
            elif word in ACTS:
                name, to = self._shaped(word, act)
                steps.append((By(kind=ACTS[word], name=name, to=to), 0))
            else:
                self._bad("“end” is missing")
        self._at += 1
        return ByRun(kind=kind, id=id_, start=start, steps=tuple(steps))


def _node(line: str) -> tuple[int, int, int] | None:
    parts = line.split(" ")
    if len(parts) != 3 or not all(part.isascii() and part.isdigit() for part in parts):
        return None
    return int(parts[0]), int(parts[1]), int(parts[2])


def _is_above(node: tuple[int, int, int], nodes: list[tuple[int, int, int]]) -> bool:
    """Tell whether a node leads only to 0, 1 and earlier nodes, whose bits come later in the order."""
    place, *targets = node
    return all(t < 2 or (t < len(nodes) + 2 and nodes[t - 2][0] > place) for t in targets)
