"""What a proof file says, as frozen data; `sequences/PROOFS.md` describes the text. And how a check can end badly."""

from enum import Enum
from typing import TypeAlias

from msgspec import Struct

from seqcheck.model.run import By, Values

VERSION = 1


class Kind(Enum):
    """What a claim is about: a built-in check, or a hazard or requirement of this kind."""

    RANGE = "range"
    SETTLING = "settling"
    HAZARD = "hazard"
    FORBID = "forbid"
    ONLY = "only"
    REACHABLE = "reachable"
    RECOVERABLE = "recoverable"
    RESPONSE = "response"
    PRECEDENCE = "precedence"


BUILT_IN = frozenset({Kind.RANGE, Kind.SETTLING})
OBSERVED = frozenset({Kind.RESPONSE, Kind.PRECEDENCE})
"""Kinds that are claimed of a machine with an observer, in a case of their own."""


class Listed(Struct, frozen=True, kw_only=True):
    """States as numbers in ascending order: the places of their values in mixed radix, the first variable weighs most."""

    numbers: tuple[int, ...]


class Table(Struct, frozen=True, kw_only=True):
    """Decision diagrams that share nodes.

    *order* names bits from the top: a variable and a bit of its value less its lowest. Node 0 is no state, node 1 every
    state; node *n* + 2 is `nodes[n]`: a place in *order*, and the nodes where that bit is 0 and 1.
    """

    order: tuple[tuple[int, int], ...]
    nodes: tuple[tuple[int, int, int], ...]


class Drawn(Struct, frozen=True, kw_only=True):
    """The states that lead from a node of a table to node 1."""

    table: int
    root: int


StateSet: TypeAlias = Listed | Drawn


class OverSet(Struct, frozen=True, kw_only=True):
    """Claimed for every state of the set and every step from it. *id* is empty for a built-in check."""

    kind: Kind
    id: str


class ByRun(Struct, frozen=True, kw_only=True):
    """Claimed because of a run: what happens in turn, each with the ticks that pass (0 for anything but waiting)."""

    kind: Kind
    id: str
    start: Values
    steps: tuple[tuple[By, int], ...]


class ByRanks(Struct, frozen=True, kw_only=True):
    """Claimed because each listed state has a step into a lower layer; the layer of each state, -1 for none."""

    kind: Kind
    id: str
    ranks: tuple[int, ...]


class ByLayers(Struct, frozen=True, kw_only=True):
    """Claimed because each state of a layer has a step into a lower one."""

    kind: Kind
    id: str
    layers: tuple[Drawn, ...]


Claim: TypeAlias = OverSet | ByRun | ByRanks | ByLayers


class Domain(Struct, frozen=True, kw_only=True):
    """A variable's name and bounds."""

    name: str
    lowest: int
    highest: int


class CaseProof(Struct, frozen=True, kw_only=True):
    """What is claimed with one set of faults under study. *states*: the closed set; None if only runs are claimed.

    *observed*: the requirement whose observer the machine has; empty for the machine as it is.
    """

    faults: tuple[str, ...]
    observed: str = ""
    domains: tuple[Domain, ...]
    tables: tuple[Table, ...]
    states: StateSet | None
    claims: tuple[Claim, ...]
    not_proved: tuple[str, ...]


class Proof(Struct, frozen=True, kw_only=True):
    """A whole proof file. *tick* is in seconds, as a fraction."""

    machine: str
    sha256: str
    tick: str
    cases: tuple[CaseProof, ...]


class NotAProofError(Exception):
    """The file cannot be read as a proof of this sequence; the text says why."""


class RefusedError(Exception):
    """What is claimed is not so; the text says why."""


class UndecidedError(Exception):
    """The checker came to no answer; the text says why."""
