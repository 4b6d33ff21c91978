"""The file of snapshots: whole or not at all, only for the search that it belongs to, any damage noticed."""

import errno
from pathlib import Path

import pytest

from seqcheck.search.engine import Snapshot
from seqcheck.search.planner import keeping
from seqcheck.search.planner.container import Binding, NotOursError, Writing
from seqcheck.search.planner.keeping import AsideKeeper, FileKeeper, Shelf

BINDING = Binding(version="1", sequence_sha256="ab" * 32)


def shelf_of(path: Path, binding: Binding = BINDING) -> Shelf:
    shelf = Shelf(path=path, binding=binding)
    shelf.open(("plain", "packed"))
    return shelf


def keep(path: Path, *parts: bytes, faults: tuple[str, ...] = (), engine: str = "plain") -> None:
    keeper = FileKeeper(shelf_of(path), faults)
    keeper.save(Snapshot(engine=engine, parts={f"part {number}": part for number, part in enumerate(parts)}))


def repr_short(text: str) -> str:
    return repr(text)[:30]


def kept(path: Path, *, faults: tuple[str, ...] = (), engine: str = "plain") -> list[bytes] | None:
    snapshot = FileKeeper(shelf_of(path), faults).kept(engine)
    return None if snapshot is None else [snapshot.parts[name] for name in snapshot.parts]


def test_what_is_kept_comes_back(tmp_path: Path) -> None:
    path = tmp_path / "kept"
    parts = [b"", b"\n{}\n", bytes(range(256)) * 9000, b'{"sha256": "x"}\n']
    keep(path, *parts)
    assert kept(path) == parts
    assert [one.name for one in tmp_path.iterdir()] == ["kept"]
    keep(path, b"later")
    assert kept(path) == [b"later"]


def test_each_search_has_its_own(tmp_path: Path) -> None:
    """Another set of faults, another engine, another way of counting is another search; saving one leaves the others."""
    path = tmp_path / "kept"
    keep(path, b"none")
    keep(path, b"breaks", faults=("breaks",))
    keep(path, b"both", faults=("breaks", "wears"))
    keep(path, b"packed", engine="packed")
    keep(path, b"none, later")
    assert kept(path) == [b"none, later"]
    assert kept(path, faults=("breaks",)) == [b"breaks"]
    assert kept(path, faults=("breaks", "wears")) == [b"both"]
    assert kept(path, engine="packed") == [b"packed"]
    assert kept(path, faults=("wears",)) is None
    assert FileKeeper(shelf_of(path), (), exact_counts=True).kept("plain") is None
    assert set(FileKeeper(shelf_of(path), ()).engines) == {"plain", "packed"}
    assert FileKeeper(shelf_of(path), ("breaks",)).engines == ("plain",)


def test_damage_anywhere_is_noticed(tmp_path: Path) -> None:
    path = tmp_path / "kept"
    keep(path, b"some", b"parts")
    keep(path, b"more", faults=("breaks",))
    whole = path.read_bytes()
    for at in range(len(whole)):
        path.write_bytes(whole[:at] + bytes([whole[at] ^ 1]) + whole[at + 1 :])
        with pytest.raises(NotOursError):
            shelf_of(path)
    for end in range(len(whole)):
        path.write_bytes(whole[:end])
        with pytest.raises(NotOursError):
            shelf_of(path)
    path.write_bytes(whole + b"\n")
    with pytest.raises(NotOursError, match="damaged"):
        shelf_of(path)
    path.write_bytes(whole)
    assert kept(path) == [b"some", b"parts"]


@pytest.mark.parametrize(
    ("binding", "said"),
    [
        (Binding(version="1", sequence_sha256="cd" * 32), "it belongs to another sequence file, or to another revision"),
        (Binding(version="2", sequence_sha256="ab" * 32), "it was written by version 1; this is 2"),
    ],
)
def test_what_belongs_to_something_else_is_refused(binding: Binding, said: str, tmp_path: Path) -> None:
    path = tmp_path / "kept"
    keep(path, b"part")
    before = path.read_bytes()
    with pytest.raises(NotOursError, match=said):
        shelf_of(path, binding)
    assert path.read_bytes() == before


@pytest.mark.parametrize(
    "text", ["", "\n", "machine: M\n", "[]\n", "{}\n", "[" * 10**6 + "\n", '{"seqcheck snapshots": 2}\n', "\udcff"]
)
def test_a_file_of_another_kind_is_refused(text: str, tmp_path: Path) -> None:
    path = tmp_path / "kept"
    path.write_bytes(text.encode("utf-8", "surrogateescape"))
    with pytest.raises(NotOursError):
        shelf_of(path)


def test_a_full_disk_is_noted_and_leaves_what_was_kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "kept"
    keep(path, b"before")
    keeper = FileKeeper(shelf_of(path), ())

    def full(_self: Writing) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    with monkeypatch.context() as patch:
        patch.setattr(Writing, "close", full)
        keeper.save(Snapshot(engine="plain", parts={"part": b"lost"}))
    assert keeper.trouble == "No space left on device"
    assert kept(path) == [b"before"]
    assert [one.name for one in tmp_path.iterdir()] == ["kept"]
    keeper.save(Snapshot(engine="plain", parts={"part": b"now"}))
    assert keeper.trouble == ""
    assert kept(path) == [b"now"]


def test_a_folder_that_is_not_there_is_said_before_any_search(tmp_path: Path) -> None:
    with pytest.raises(FileNotFoundError):
        shelf_of(tmp_path / "absent" / "kept")
    assert list(tmp_path.iterdir()) == []


def test_a_process_of_its_own_keeps_beside_and_tells(tmp_path: Path) -> None:
    path = tmp_path / "kept"
    keep(path, b"plain's")
    keep(path, b"packed's, older", engine="packed")
    told: list[str] = []
    keeper = FileKeeper(shelf_of(path), ())
    aside = AsideKeeper(keeper, "packed", told.append)
    before = aside.kept("packed")
    assert before is not None
    assert before.parts["part 0"] == b"packed's, older"
    assert not aside.due()
    aside.save(Snapshot(engine="packed", parts={"part": b"packed's"}))
    assert told == [""]
    assert {one.name for one in tmp_path.iterdir()} == {"kept", "kept.packed"}
    keeper.take_in("packed")
    assert {one.name for one in tmp_path.iterdir()} == {"kept"}
    assert kept(path) == [b"plain's"]
    assert kept(path, engine="packed") == [b"packed's"]


def test_what_a_killed_call_left_beside_is_taken_in(tmp_path: Path) -> None:
    path = tmp_path / "kept"
    aside = AsideKeeper(FileKeeper(shelf_of(path), ("breaks",)), "packed", lambda _trouble: None)
    aside.save(Snapshot(engine="packed", parts={"part": b"packed's"}))
    assert kept(path, faults=("breaks",), engine="packed") == [b"packed's"]
    assert [one.name for one in tmp_path.iterdir()] == ["kept"]


def test_half_a_file_beside_is_removed_when_its_process_ended(tmp_path: Path) -> None:
    path = tmp_path / "kept"
    keep(path, b"part")
    shelf = shelf_of(path)
    (tmp_path / "kept.packed").write_bytes(b"{")
    (tmp_path / "kept.packed.part").write_bytes(b"{")
    FileKeeper(shelf, ()).tidy("packed")
    assert [one.name for one in tmp_path.iterdir()] == ["kept"]
    assert kept(path) == [b"part"]


class Clock:
    """A clock that tests move."""

    def __init__(self) -> None:
        self.now = 100.0

    def monotonic(self) -> float:
        return self.now


def test_when_a_snapshot_is_due(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Every 20 s; more seldom if writing takes long, but at least one in 45 s."""
    clock = Clock()
    monkeypatch.setattr(keeping, "time", clock)
    keeper = FileKeeper(shelf_of(tmp_path / "kept"), ())

    class Slow(dict[str, bytes]):
        def __init__(self, takes_s: float) -> None:
            super().__init__(part=b"x")
            self._takes_s = takes_s

        def __getitem__(self, name: str) -> bytes:
            clock.now += self._takes_s
            return super().__getitem__(name)

    for takes_s, wait_s in ((0.1, 20), (3.0, 30), (30.0, 45), (0.0, 20)):
        keeper.save(Snapshot(engine="plain", parts=Slow(takes_s)))
        clock.now += wait_s - 0.1
        assert not keeper.due()
        clock.now += 0.2
        assert keeper.due()


def test_the_time_spent_is_kept_and_adds_up(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    clock = Clock()
    monkeypatch.setattr(keeping, "time", clock)
    path = tmp_path / "kept"
    for before in (0.0, 12.5, 25.0):
        keeper = FileKeeper(shelf_of(path), ())
        assert keeper.spent_before_s == before
        clock.now += 12.5
        keeper.save(Snapshot(engine="plain", parts={}))
    assert FileKeeper(shelf_of(path), ("breaks",)).spent_before_s == 0.0
