"""Redraws what stands in `diagrams/`: `python -m tests.diagrams`. Always by the packaged renderer, whatever else is here.

DOT text of the demo's pictures and of the most telling ones of the others; SVG of those that README shows.
"""

import os
from collections.abc import Iterator, Mapping
from pathlib import Path
from unittest.mock import patch

from seqcheck.cli.load import load
from seqcheck.cli.picturing import Kind, Picture, Pictures, Question
from seqcheck.draw.dot import dot_of
from seqcheck.draw.render import Format, rendered
from seqcheck.search.engine import Limits

ROOT = Path(__file__).parents[1]
FOLDER = ROOT / "diagrams"
BY_HAND = {"floors.dot"}

DEMO = "separator"
CHOSEN: Mapping[str, tuple[str, ...]] = {
    DEMO: (
        "steps.",
        "automatic.",
        "map",
        "states.machine",
        "states.rotor",
        "states.cover",
        "locks.controller",
        "locks.build",
        "locks.guard-lock",
    ),
    "separator_draft": ("map",),
    "burner": ("automatic.light-the-burner",),
    "burner_draft": ("map",),
    "lift_gate": ("automatic.send-the-car-up",),
    "lift_gate_draft": ("map",),
    "robot_cell": ("states.machine",),
    "robot_cell_draft": ("map",),
    "steam_door": ("automatic.start-curing",),
    "steam_door_draft": ("map",),
    "two_hand_press": ("automatic.the-stroke-starts",),
    "two_hand_press_draft": ("map",),
}
"""What the names of the pictures begin with that are kept of each sequence."""

SHOWN = (
    "separator.automatic.start-the-clean-out-run",
    "separator.states.rotor",
    "separator_draft.map",
    "burner_draft.timing.h4",
)
"""What README shows, as SVG."""


def files_of(stem: str) -> dict[str, bytes]:
    """Return the files of one sequence, by their names."""
    files: dict[str, bytes] = {}
    for picture in chosen(stem):
        name = f"{stem}.{picture.name}"
        if picture.drawing is not None:
            dot = dot_of(picture.drawing)
            files[f"{name}.dot"] = dot.encode()
            if name in SHOWN:
                files[f"{name}.svg"] = by_packaged(dot)
        elif name in SHOWN:
            files[f"{name}.svg"] = picture.svg.encode()
    return files


def chosen(stem: str) -> Iterator[Picture]:
    """Yield the pictures of one sequence that are kept."""
    loaded = load(ROOT / "sequences" / f"{stem}.yaml")
    if loaded.machine is None:
        raise ValueError(stem)
    shown = tuple(name.removeprefix(f"{stem}.") for name in SHOWN if name.startswith(f"{stem}."))
    begins = (*CHOSEN[stem], *shown)
    question = Question(by=(), ids=(), limits=Limits(), began=0.0, link=lambda _name: "")
    pictures = Pictures(loaded, loaded.machine, question)
    words = {name.partition(".")[0] for name in begins}
    kinds = [kind for kind in Kind if kind.value in words or (kind is Kind.STEPS and "automatic" in words)]
    for kind in kinds:
        yield from (picture for picture in pictures.of(kind) if picture.name.startswith(begins))


def by_packaged(dot: str) -> bytes:
    """Render DOT text by the packaged renderer."""
    with patch.dict(os.environ, PATH=""):
        return rendered(dot, Format.SVG)


def main() -> None:
    """Write all files anew, and remove those that are no longer chosen."""
    files = {name: data for stem in CHOSEN for name, data in files_of(stem).items()}
    for old in FOLDER.iterdir():
        if old.name not in {*BY_HAND, *files}:
            old.unlink()
    for name, data in files.items():
        (FOLDER / name).write_bytes(data)


if __name__ == "__main__":
    main()
