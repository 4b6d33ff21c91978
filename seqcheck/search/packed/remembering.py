"""Turns a search of the `packed` engine into a snapshot, and takes one up again.

A snapshot's part `search` is JSON: how the states are laid out, how far the search has come, and how many states each list has.
Parts `order OWNER N` are the lists of states, `seeds LAYER MOMENT OWNER N` those of states that wait (LAYER 0: this one, 1: the
next), each with so many states at most; `notes OWNER` what a thread has noted. Words are those of this machine, in its order of
bytes. The tables are not kept: they hold what the lists hold.
"""

import json
import sys
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from functools import partial
from itertools import count
from typing import Any

import numpy as np
from msgspec import to_builtins
from msgspec.structs import replace
from numpy.typing import NDArray

from seqcheck.model.expression import Expression
from seqcheck.model.model import Model
from seqcheck.search.engine import Snapshot, Stop
from seqcheck.search.packed import frame as f
from seqcheck.search.packed.layout import laid_out
from seqcheck.search.packed.lookout import Lookout
from seqcheck.search.packed.program import explorer
from seqcheck.search.packed.reaching import Bucket, Reach, Remark
from seqcheck.search.packed.rolls import Exhausted, Roll
from seqcheck.search.packed.searching import Search
from seqcheck.search.packed.visitor import Visitor

FORM = 1
PIECE = 1 << 16
"""States in one part: a snapshot is written piece by piece, so that it needs little memory of its own."""

Part = Callable[[], bytes]


def snapshot(search: Search, engine: str) -> Snapshot:
    """Return a search as it stands between two pieces. Its parts are made when they are read: nothing may change until then."""
    return Snapshot(engine=engine, parts=Pieces(search))


class Pieces(Mapping[str, bytes]):
    """The parts of a snapshot, each made when it is read."""

    def __init__(self, search: Search) -> None:
        self._made: dict[str, Part] = {"search": lambda: json.dumps(told(search)).encode()}
        for owner, visitor in enumerate(search.visitors):
            self._made[f"notes {owner}"] = partial(joined, noted(visitor))
        for name, roll in lists(search):
            for number, (_, states) in enumerate(roll.pieces(0, roll.length, PIECE)):
                self._made[f"{name} {number}"] = states.tobytes

    def __len__(self) -> int:
        """Return how many parts there are."""
        return len(self._made)

    def __iter__(self) -> Iterator[str]:
        """Yield the names of the parts."""
        return iter(self._made)

    def __getitem__(self, name: str) -> bytes:
        """Return one part."""
        return self._made[name]()


def joined(arrays: Iterable[NDArray[np.generic]]) -> bytes:
    """Return arrays as bytes, one after the other."""
    return b"".join(array.tobytes() for array in arrays)


def lists(search: Search) -> Iterator[tuple[str, Roll]]:
    """Yield the lists of a search and their names."""
    yield from ((f"order {owner}", roll) for owner, roll in enumerate(search.orders))
    for which, seeds in enumerate((search.seeds, search.next_seeds)):
        for moment, rolls in seeds.items():
            yield from ((f"seeds {which} {moment} {owner}", roll) for owner, roll in enumerate(rolls))


def noted(visitor: Visitor) -> tuple[NDArray[Any], ...]:
    """Return the arrays of what a thread has noted."""
    return visitor.found, visitor.troubles, visitor.entered_left, visitor.notes, visitor.entered


def told(search: Search) -> Mapping[str, object]:
    """Return what the part `search` says."""
    reach = {name: value for name, value in to_builtins(search.reach).items() if name not in {"stopped", "torn"}}
    return {
        "form": FORM,
        "order_of_bytes": sys.byteorder,
        "first": search.program.layout.first,
        "threads": len(search.orders),
        "is_pilot": search.lookout.pilot_states is not None,
        "reach": reach,
        "buckets": [to_builtins(bucket) for bucket in search.buckets],
        "seeds": [sorted(seeds) for seeds in (search.seeds, search.next_seeds)],
        "transitions": [int(visitor.frame[f.TRANSITIONS]) for visitor in search.visitors],
        "troubles": [[[list(why), manner, *where] for (why, manner), where in s.troubles.items()] for s in search.slowly],
    }


class Recalling:
    """One snapshot being read. Raises `ValueError` if it is of another form."""

    def __init__(self, model: Model, watches: Sequence[Expression], kept: Snapshot) -> None:
        self._model, self._watches, self._parts = model, watches, kept.parts
        self._head = json.loads(kept.parts["search"])
        form = self._head["form"], self._head["order_of_bytes"]
        if form != (FORM, sys.byteorder):
            raise ValueError(f"a snapshot of form {form[0]}, {form[1]}; this version reads form {FORM}, {sys.byteorder}")

    @property
    def is_pilot(self) -> bool:
        """Tell whether it is of a first, short search."""
        return bool(self._head["is_pilot"])

    def search(self, lookout: Lookout) -> Search:
        """Return the search to go on with. One that a limit stops while it is read is empty, and torn."""
        search = self._empty(lookout)
        try:
            search.reach.stopped = self._read(search)
        except Exhausted as limit:
            search.reach.stopped = limit.stop
        if search.reach.stopped is not None:
            stopped, search = search.reach.stopped, self._empty(lookout)
            search.reach.stopped, search.reach.torn = stopped, True
        return search

    def _empty(self, lookout: Lookout) -> Search:
        layout = laid_out(self._model, self._head["first"])
        return Search(self._model, explorer(self._model, layout, self._watches), lookout, self._head["threads"])

    def _read(self, search: Search) -> Stop | None:
        """Read everything; return the limit that stops it."""
        threads, width = len(search.orders), search.program.layout.words
        lookout = replace(search.lookout, pilot_states=None)
        for seeds, moments in zip((search.seeds, search.next_seeds), self._head["seeds"], strict=True):
            for moment in moments:
                seeds[moment] = [Roll(width, search.lookout.reserve) for _ in range(threads)]
        for name, roll in lists(search):
            table = (search.tables if name.startswith("order") else search.seeded)[int(name.split(" ")[-1])]
            for data in self._numbered(name):
                states = np.frombuffer(data, np.uint64).reshape(-1, width)
                table.insert(states, len(states), roll)
                if (stopped := lookout.look(search.progress)) is not None:
                    return stopped
        self._note(search)
        return None

    def _numbered(self, name: str) -> Iterator[bytes]:
        for number in count():
            data = self._parts.get(f"{name} {number}")
            if data is None:
                return
            yield data

    def _note(self, search: Search) -> None:
        """Take over all but the lists of states."""
        search.reach = reach = Reach(**self._head["reach"])
        reach.begins = tuple(reach.begins)
        reach.dead, reach.jammed = (Remark(**self._head["reach"][name]) for name in ("dead", "jammed"))
        for told in self._head["buckets"]:
            cuts = [tuple(told[name]) for name in ("begins", "ticked", "ends")]
            search.buckets.append(
                Bucket(layer=told["layer"], moment=told["moment"], begins=cuts[0], ticked=cuts[1], ends=cuts[2])
            )
        for owner, visitor in enumerate(search.visitors):
            visitor.frame[f.TRANSITIONS] = self._head["transitions"][owner]
            fill(noted(visitor), self._parts[f"notes {owner}"])
            search.slowly[owner].troubles.update(
                {(tuple(why), manner): (place, step) for why, manner, place, step in self._head["troubles"][owner]}
            )


def fill(arrays: Iterable[NDArray[Any]], data: bytes) -> None:
    """Fill arrays, in place, with what was kept of them."""
    at = 0
    for array in arrays:
        array[...] = np.frombuffer(data, array.dtype, array.size, at).reshape(array.shape)
        at += array.nbytes
