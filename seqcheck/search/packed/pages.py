"""Memory for tables: in large pages where the system has them, for a table is read all over the place."""

import mmap

import numpy as np

from seqcheck.search.packed.layout import Packed

LARGE = 1 << 21
"""Bytes of a large page (x86-64 and most others)."""


def private(many_bytes: int) -> mmap.mmap:
    """Return memory of this process alone: Linux has large pages for no other."""
    if hasattr(mmap, "MAP_PRIVATE"):
        return mmap.mmap(-1, many_bytes, flags=mmap.MAP_PRIVATE | mmap.MAP_ANONYMOUS)
    return mmap.mmap(-1, many_bytes)


def zeros(rows: int, columns: int) -> Packed:
    """Return rows of words, all zero, whose memory goes back to the system as soon as nothing refers to it.

    Raises `MemoryError` if the system has not so much.
    """
    wanted = 8 * rows * columns
    if wanted < 2 * LARGE:
        return np.zeros((rows, columns), np.uint64)
    try:
        room = private(wanted + LARGE)
    except OSError as problem:
        raise MemoryError(wanted) from problem
    if hasattr(mmap, "MADV_HUGEPAGE"):
        room.madvise(mmap.MADV_HUGEPAGE)
    whole = np.frombuffer(room, np.uint64)
    first = -whole.ctypes.data % LARGE // 8
    return whole[first : first + rows * columns].reshape(rows, columns)
