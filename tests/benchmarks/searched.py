"""What a rival prints when it has searched a machine, as data."""

import json
from collections.abc import Mapping
from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Searched:
    """*layers* are the states of each number of steps, *met* the least steps to each hazard and goal met, by its number.

    *bytes* is what states and table take in memory, where the rival says so.
    """

    states: int
    transitions: int
    layers: tuple[int, ...]
    met: Mapping[int, int]
    bytes: int | None


def searched(text: str) -> Searched:
    """Read what a rival printed."""
    data = json.loads(text)
    return Searched(
        states=data["states"],
        transitions=data["transitions"],
        layers=tuple(data["layers"]),
        met={int(number): steps for number, steps in data["met"].items()},
        bytes=data["bytes"],
    )
