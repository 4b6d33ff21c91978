"""Takes a search of the `plain` engine up again from the snapshot that `remembering` wrote."""

import json
from collections.abc import Callable, Iterator
from typing import cast

from msgspec import Struct

from seqcheck.model.model import Model, State
from seqcheck.search.engine import Snapshot
from seqcheck.search.failing import failure_of
from seqcheck.search.plain.account import Account
from seqcheck.search.plain.expanding import TICK
from seqcheck.search.plain.program import Board
from seqcheck.search.plain.remembering import FORM, Packing

Rows = list[tuple[int, ...]]


class Head(Struct, frozen=True, kw_only=True):
    """The part `search` of a snapshot."""

    form: int
    visited: int
    starts_taken: int
    transitions: int
    complete_steps: int
    groups: list[tuple[int, int, int]]
    failed_starts: list[tuple[list[str | None], list[int]]]
    board: dict[str, list[list[int | list[int]]]]


class Recalling:
    """One snapshot being read into an account that is still empty."""

    def __init__(self, model: Model, kept: Snapshot, account: Account) -> None:
        self._model = model
        self._parts = kept.parts
        self._packing = Packing(model)
        self._account = account
        self._head = Head(**json.loads(kept.parts["search"]))
        if self._head.form != FORM:
            raise ValueError(f"a snapshot of form {self._head.form}; this version reads form {FORM}")

    def read(self, go_on: Callable[[], bool]) -> bool:
        """Read everything; if told not to go on (asked after every part) leave the account empty and return False.

        A state's parent must be the same tuple as the one visited, or memory would double: so the visited states first
        stand for themselves.
        """
        seen = self._account.board.seen
        states: list[State] = []
        for data in self._numbered("states"):
            states += self._packing.unpack(data)
            if not go_on():
                return False
        seen.update(zip(states, states, strict=True))
        parents: list[State | None] = []
        for data in self._numbered("parents"):
            parents += [seen[parent] for parent in self._packing.unpack(data)]
            if not go_on():
                seen.clear()
                return False
        self._lists()
        seen.update((s, None if p is s else p) for s, p in zip(states, parents, strict=True))
        self._stand(states)
        self._note()
        return True

    def _numbered(self, kind: str) -> Iterator[bytes]:
        number = 0
        while (data := self._parts.get(f"{kind} {number}")) is not None:
            yield data
            number += 1

    def _lists(self) -> None:
        """Read the lists of states, while each visited state still stands for itself."""
        board, tracer = self._account.board, self._account.tracer
        for kind, target in (("dead", board.dead), ("jammed", board.jammed)):
            for data in self._numbered(kind):
                target += [cast(State, board.seen[state]) for state in self._packing.unpack(data)]
        for data in self._numbered("starts"):
            pairs = list(self._packing.unpack(data))
            tracer.raw_of |= dict(zip(pairs[::2], pairs[1::2], strict=True))

    def _stand(self, states: list[State]) -> None:
        head, account = self._head, self._account
        account.starts_taken, account.transitions = head.starts_taken, head.transitions
        account.order += states[: head.visited]
        account.frontier.complete_steps = head.complete_steps
        first, groups = head.visited, []
        for layer, moment, many in head.groups:
            groups.append((layer, moment, states[first : first + many]))
            first += many
        account.frontier.take_up(groups)

    def _note(self) -> None:
        board, told = self._account.board, self._head.board
        for mine, rows in ((board.found, told["found"]), (board.unjudged, told["unjudged"]), (board.made, told["made"])):
            for number, state, key in cast(list[tuple[int, list[int], int]], rows):
                mine[number] = (tuple(state), key)
        for step, site, state, key in cast(list[tuple[int, int, list[int], int]], told["troubles"]):
            board.troubles[step, site] = (tuple(state), key)
            self._recall_site(tuple(state), step, site)
        for why, raw in self._head.failed_starts:
            self._account.tracer.failed_starts[tuple(why)] = tuple(raw)
        fill(board, told)

    def _recall_site(self, state: State, step: int, site: int) -> None:
        failure = failure_of(self._model, state, None if step == TICK else step) if site < 0 else None
        if failure is not None:
            self._account.compiled.recall_site(failure, site)


def fill(board: Board, told: dict[str, list[list[int | list[int]]]]) -> None:
    """Fill the arrays that generated code holds on to: in place."""
    board.open[:] = bytes(cast(list[int], told["open"]))
    board.best[:] = cast(list[int], told["best"])
    board.acted[:] = bytes(cast(list[int], told["acted"]))
    board.passing[:] = bytes(cast(list[int], told["passing"]))
