"""Packs states into whole numbers and whole numbers into text: mixed radix, differences, seven bits a byte, base64."""

import base64
import binascii
from collections.abc import Iterable, Iterator, Sequence
from itertools import accumulate, pairwise

from seqcheck.model.model import State
from seqcheck.proof.form import Domain, NotAProofError

LINE = 96
"""Characters in a line of base64."""


class Radix:
    """Turns states into numbers and back."""

    def __init__(self, domains: Sequence[Domain]) -> None:
        self._lowest = [domain.lowest for domain in domains]
        self._sizes = [domain.highest - domain.lowest + 1 for domain in domains]

    @property
    def count(self) -> int:
        """How many states there are at all."""
        total = 1
        for size in self._sizes:
            total *= size
        return total

    def number(self, state: State) -> int:
        """Return the number of a state."""
        number = 0
        for value, lowest, size in zip(state, self._lowest, self._sizes, strict=True):
            number = number * size + value - lowest
        return number

    def state(self, number: int) -> State:
        """Return the state of a number."""
        values = []
        for lowest, size in zip(reversed(self._lowest), reversed(self._sizes), strict=True):
            number, value = divmod(number, size)
            values.append(value + lowest)
        return tuple(reversed(values))


def differences(numbers: Sequence[int]) -> list[int]:
    """Return the first of ascending numbers, then by how much each exceeds the one before."""
    return [*numbers[:1], *(after - before for before, after in pairwise(numbers))]


def summed(steps: Sequence[int]) -> tuple[int, ...]:
    """Return the numbers of some differences. Raises `NotAProofError` unless they ascend."""
    if any(step == 0 for step in steps[1:]):
        raise NotAProofError("the same state is listed twice")
    return tuple(accumulate(steps))


def packed(numbers: Iterable[int]) -> Iterator[str]:
    """Yield lines of base64 that hold numbers of any size: seven bits a byte, lowest first, 128 added if more follow."""
    data = bytearray()
    for given in numbers:
        number = given
        while number > 127:
            data.append(number & 127 | 128)
            number >>= 7
        data.append(number)
    text = base64.b64encode(data).decode("ascii")
    yield from (text[at : at + LINE] for at in range(0, len(text), LINE))


def unpacked(lines: Iterable[str]) -> list[int]:
    """Return the numbers that lines of base64 hold. Raises `NotAProofError`."""
    try:
        data = base64.b64decode("".join(lines), validate=True)
    except (binascii.Error, ValueError):
        raise NotAProofError("what should be base64 is none") from None
    numbers, number, shift = [], 0, 0
    for byte in data:
        number |= (byte & 127) << shift
        shift += 7
        if byte < 128:
            numbers.append(number)
            number = shift = 0
    if shift:
        raise NotAProofError("the last number of a list is cut off")
    return numbers
