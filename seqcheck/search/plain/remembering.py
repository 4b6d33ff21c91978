"""Turns a search of the `plain` engine into a snapshot, and takes one up again: the answer is then the same in everything.

A snapshot's part `search` is JSON. Parts `states N` and `parents N` are states packed one after the other, each variable as
the narrowest little-endian integer that holds its range: first all that were visited, in order, then all that wait. The parent
of a start is the start itself. `dead N` and `jammed N` are states too, `starts N` pairs of a settled start and the raw one.
"""

import json
import struct
from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import islice
from typing import TypeAlias, cast

from seqcheck.model.model import Model, State
from seqcheck.search.engine import Snapshot
from seqcheck.search.plain.account import Account
from seqcheck.search.plain.program import Board

FORM = 1
PIECE = 16_384
"""States in one part: a snapshot is written piece by piece, so that it needs no memory of its own."""

Json: TypeAlias = "int | str | Sequence[Json] | Mapping[str, Json] | None"


class Packing:
    """States as bytes."""

    def __init__(self, model: Model) -> None:
        self._form = struct.Struct("<" + "".join(code(v.lowest, v.highest) for v in model.variables))

    def pack(self, states: Iterable[State]) -> bytes:
        """Return states as bytes."""
        pack = self._form.pack
        return b"".join([pack(*state) for state in states])

    def unpack(self, data: bytes) -> Iterator[State]:
        """Yield the states again."""
        return cast(Iterator[State], self._form.iter_unpack(data))


def code(lowest: int, highest: int) -> str:
    """Return the code of `struct` for the narrowest integer that holds a range."""
    signed = lowest < 0
    bits = max((-lowest - 1).bit_length(), highest.bit_length()) + 1 if signed else highest.bit_length()
    letter = next((letter for letter, room in (("B", 8), ("H", 16), ("I", 32), ("Q", 64)) if bits <= room), None)
    if letter is None:
        raise ValueError(f"{lowest}..{highest} does not fit 64 bits")
    return letter.lower() if signed else letter


class Pieces(Mapping[str, bytes]):
    """The parts of a snapshot, each made when it is read."""

    def __init__(self, model: Model, account: Account) -> None:
        self._packing = Packing(model)
        self._account = account
        groups = list(account.frontier.live())
        self._lists: dict[str, Sequence[State]] = {
            "dead": account.board.dead,
            "jammed": account.board.jammed,
            "starts": [state for pair in account.tracer.raw_of.items() for state in pair],
        }
        self._states = [account.order, *(states for _, _, states in groups)]
        self._head = json.dumps(self._told(groups)).encode()
        self._names = {"search": (0, 0), **dict(self._pieces())}

    def __len__(self) -> int:
        """Return how many parts there are."""
        return len(self._names)

    def __iter__(self) -> Iterator[str]:
        """Yield the names of the parts."""
        return iter(self._names)

    def __getitem__(self, name: str) -> bytes:
        """Return one part."""
        which, first = self._names[name]
        kind = name.partition(" ")[0]
        if kind == "search":
            return self._head
        if kind in self._lists:
            return self._packing.pack(self._lists[kind][first : first + PIECE])
        states = islice(self._states[which], first, first + PIECE)
        if kind == "states":
            return self._packing.pack(states)
        seen = self._account.board.seen
        return self._packing.pack(seen[state] or state for state in states)

    def _pieces(self) -> Iterator[tuple[str, tuple[int, int]]]:
        number = 0
        for which, states in enumerate(self._states):
            for first in range(0, len(states), PIECE):
                yield f"states {number}", (which, first)
                yield f"parents {number}", (which, first)
                number += 1
        for kind, listed in self._lists.items():
            for number, first in enumerate(range(0, len(listed), PIECE)):
                yield f"{kind} {number}", (0, first)

    def _told(self, groups: Iterable[tuple[int, int, list[State]]]) -> Json:
        account = self._account
        return {
            "form": FORM,
            "visited": len(account.order),
            "starts_taken": account.starts_taken,
            "transitions": account.transitions,
            "complete_steps": account.frontier.complete_steps,
            "groups": [(layer, moment, len(states)) for layer, moment, states in groups],
            "failed_starts": [(list(why), raw) for why, raw in account.tracer.failed_starts.items()],
            "board": noted(account.board),
        }


def snapshot(model: Model, account: Account) -> Snapshot:
    """Return a search as it stands between two visits. Its parts are made when they are read: nothing may change until then."""
    return Snapshot(engine="plain", parts=Pieces(model, account))


def noted(board: Board) -> Json:
    """Return the small things on a board."""
    return {
        "found": [(n, *pair) for n, pair in board.found.items()],
        "unjudged": [(n, *pair) for n, pair in board.unjudged.items()],
        "made": [(n, *pair) for n, pair in board.made.items()],
        "troubles": [(*where, *pair) for where, pair in board.troubles.items()],
        "open": list(board.open),
        "best": board.best,
        "acted": list(board.acted),
        "passing": list(board.passing),
    }
