"""Machine code is kept for the next time; where that is damaged or cannot be written, it is made anew."""

import subprocess
import sys
from pathlib import Path

import pytest

from seqcheck.search.packed import native
from seqcheck.search.packed.native import Code, functions, keep, kept, mark, unwrapped, wrapped

KNOWN = [Code(name="insert", symbol="a", object_file=b"123"), Code(name="sift", symbol="b", object_file=b"")]


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Keep code in a folder of the test."""
    monkeypatch.setattr(native, "folders", lambda: (tmp_path / "one", tmp_path / "other"))
    return tmp_path


def test_what_was_kept_comes_back(folder: Path) -> None:
    assert kept("tables") is None
    keep("tables", KNOWN)
    assert kept("tables") == KNOWN
    assert [file.name for file in (folder / "one").iterdir()] == [f"tables-{mark()}.bin"]


def test_damage_is_noticed(folder: Path) -> None:
    keep("tables", KNOWN)
    file = folder / "one" / f"tables-{mark()}.bin"
    whole = file.read_bytes()
    for damaged in (b"", whole[:-1], whole[:40], b"x" + whole[1:], whole[:-1] + bytes([whole[-1] ^ 1])):
        file.write_bytes(damaged)
        assert kept("tables") is None
        with pytest.raises(ValueError, match="damaged"):
            unwrapped(damaged)
    assert unwrapped(wrapped(KNOWN)) == KNOWN


def test_damaged_code_is_made_anew(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    made: list[str] = []
    known = kept_truly("tables")

    def compiled(group: str) -> list[Code]:
        made.append(group)
        return known

    monkeypatch.setattr(native, "compiled", compiled)
    (folder / "one").mkdir()
    (folder / "one" / f"tables-{mark()}.bin").write_bytes(b"damaged")
    functions.cache_clear()
    assert "insert" in functions("tables")
    functions.cache_clear()
    assert "insert" in functions("tables")
    assert made == ["tables"]


def test_where_nothing_can_be_written_it_still_works(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """Neither folder can be made: a file stands in the way (a right to write would mean nothing to the superuser)."""
    known = kept_truly("tables")
    (tmp_path / "file").write_text("")
    monkeypatch.setattr(native, "folders", lambda: (tmp_path / "file" / "one", tmp_path / "file" / "other"))
    monkeypatch.setattr(native, "compiled", lambda _group: known)
    functions.cache_clear()
    assert "insert" in functions("tables")
    assert [file.name for file in tmp_path.iterdir()] == ["file"]


def kept_truly(group: str) -> list[Code]:
    """Return the code that this installation has."""
    for folder in (Path(native.HERE) / "__pycache__", *true_folders()):
        file = folder / f"{group}-{mark()}.bin"
        if file.exists():
            return unwrapped(file.read_bytes())
    return native.compiled(group)


true_folders = native.folders


@pytest.fixture(autouse=True)
def _clear() -> None:
    """Let no test leave functions of its own behind."""
    functions.cache_clear()


def test_numba_is_not_imported_once_there_is_code() -> None:
    """Nor is this engine where another one answers."""
    code = (
        "import sys; from tests.analyse.asking import model_of, silent; from tests.cli.calling import counters\n"
        "from seqcheck.search.engines import engine; from seqcheck.search.engine import Limits\n"
        "engine('plain').explore(model_of(counters(2, 2)), (), Limits(), silent)\n"
        "assert not {'numpy', 'numba', 'llvmlite'} & set(sys.modules)\n"
        "engine('packed').explore(model_of(counters(2, 2)), (), Limits(), silent)\n"
        "print('numba' in sys.modules)"
    )
    for _ in range(2):
        said = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout
    assert said == "False\n"
