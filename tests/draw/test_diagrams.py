"""What stands in `diagrams/` is what the tool draws now. If it is not: `python -m tests.diagrams`, and look at what changed."""

import hashlib
import re

import pytest

from seqcheck import __version__
from tests.diagrams import BY_HAND, CHOSEN, DEMO, FOLDER, ROOT, SHOWN, files_of

SHA = re.compile(r"sha256 ([0-9a-f]{12})")
AGAIN = "stale: python -m tests.diagrams"


@pytest.mark.parametrize("stem", CHOSEN)
def test_every_picture_is_of_the_sequence_as_it_is_and_by_this_version(stem: str) -> None:
    sha256 = hashlib.sha256((ROOT / "sequences" / f"{stem}.yaml").read_bytes()).hexdigest()
    pictures = [path for path in FOLDER.iterdir() if path.name.startswith(f"{stem}.")]
    assert pictures
    for path in pictures:
        text = path.read_text(encoding="utf-8")
        assert set(SHA.findall(text)) == {sha256[:12]}, AGAIN
        if path.suffix == ".dot":
            assert text.startswith(f"// seqcheck {__version__}\n"), AGAIN


def test_the_demos_pictures_are_drawn_the_same_again() -> None:
    fresh = files_of(DEMO)
    kept = {path.name: path.read_bytes() for path in FOLDER.iterdir() if path.name.startswith(f"{DEMO}.")}
    assert sorted(fresh) == sorted(kept), AGAIN
    for name, data in fresh.items():
        assert data == kept[name], f"{name} is {AGAIN}"


def test_nothing_else_is_there() -> None:
    stems = {path.name.partition(".")[0] for path in FOLDER.iterdir() if path.name not in BY_HAND}
    assert stems == set(CHOSEN)
    assert {path.stem for path in FOLDER.iterdir() if path.suffix == ".svg"} == set(SHOWN)
