"""`verify --junit` and `verify --waveforms`: what is written where, and what is refused."""

from pathlib import Path

import pytest

from seqcheck.analyse.verdict import Result, Verdict
from seqcheck.cli.exporting import file_stem
from tests.cli.calling import FAULTY, HOLDS, VIOLATED, call, put


def names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


def test_each_run_is_a_file_named_after_its_result(tmp_path: Path) -> None:
    folder = tmp_path / "new" / "waves"
    called = call("verify", *put(tmp_path, faulty=FAULTY), "--faults", "1", "--waveforms", str(folder))
    assert called.exit_code == 1
    assert names(folder) == ["H1_with_breaks.vcd"]
    assert f"1 run written as waveforms to {folder}" in called.stderr
    text = (folder / "H1_with_breaks.vcd").read_text(encoding="ascii")
    assert "Faulty (faulty.yaml, sha256 " in text
    assert "H1 violated: It is c" in text
    assert str(tmp_path) not in text


def test_where_there_is_no_run_nothing_is_written(tmp_path: Path) -> None:
    called = call("verify", *put(tmp_path, fine=HOLDS), "--waveforms", str(tmp_path / "waves"))
    assert called.exit_code == 0
    assert names(tmp_path / "waves") == []
    assert "0 runs written" in called.stderr


def test_waveforms_have_a_date_only_from_the_environment(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("SOURCE_DATE_EPOCH", raising=False)
    call("verify", *put(tmp_path, bad=VIOLATED), "--waveforms", str(tmp_path))
    plain = (tmp_path / "H1.vcd").read_text(encoding="ascii")
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "0")
    call("verify", *put(tmp_path, bad=VIOLATED), "--waveforms", str(tmp_path))
    assert (tmp_path / "H1.vcd").read_text(encoding="ascii") == f"$date 1970-01-01T00:00:00 $end\n{plain}"


@pytest.mark.parametrize("fixed", ["999999999999999999", "today"])
def test_a_date_that_is_none_is_refused(fixed: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("SOURCE_DATE_EPOCH", fixed)
    for options in (("--junit", str(tmp_path / "j.xml")), ("--waveforms", str(tmp_path / "waves"))):
        called = call("verify", *put(tmp_path, bad=VIOLATED), *options)
        assert called.exit_code == 2
        assert f"SOURCE_DATE_EPOCH is {fixed}, which is no number of seconds" in called.stderr


def test_a_file_may_have_as_long_a_name_as_the_system_allows(tmp_path: Path) -> None:
    target = tmp_path / ("\u4e2d" * 82 + ".xml")
    assert call("verify", *put(tmp_path, fine=HOLDS), "--junit", str(target)).exit_code == 0
    assert target.is_file()


def test_waveforms_go_with_one_file(tmp_path: Path) -> None:
    called = call("verify", *put(tmp_path, fine=HOLDS, bad=VIOLATED), "--waveforms", str(tmp_path / "waves"))
    assert called.exit_code == 2
    assert "one sequence file" in called.stderr


def test_a_folder_that_cannot_be_made_is_refused_before_the_search(tmp_path: Path) -> None:
    (file,) = put(tmp_path, bad=VIOLATED)
    called = call("verify", file, "--waveforms", f"{file}/waves")
    assert (called.exit_code, called.stdout) == (2, "")
    assert "cannot make the folder" in called.stderr


def test_a_sequence_file_is_never_written_over(tmp_path: Path) -> None:
    (file,) = put(tmp_path, bad=VIOLATED)
    assert call("verify", file, "--junit", file).exit_code == 2
    assert Path(file).read_text(encoding="utf-8") == VIOLATED


@pytest.mark.parametrize("options", [("--json", "-", "--junit", "-"), ("--json", "{same}", "--junit", "{same}")])
def test_two_results_do_not_go_to_one_place(options: tuple[str, ...], tmp_path: Path) -> None:
    given = [option.format(same=tmp_path / "same") for option in options]
    called = call("verify", *put(tmp_path, bad=VIOLATED), *given)
    assert (called.exit_code, called.stdout) == (2, "")
    assert "--junit" in called.stderr


def result(id_: str, *faults: str) -> Result:
    return Result(
        id=id_,
        kind="hazard",
        text="",
        verdict=Verdict.VIOLATED,
        faults=faults,
        run=None,
        accounts=(),
        clauses=(),
        spoken=(),
        reason="",
        condition="",
        risk="",
        source="",
        line=1,
    )


@pytest.mark.parametrize(
    ("given", "stem"),
    [
        (result("H1"), "H1"),
        (result("H1", "a b", "c/d"), "H1_with_a_b_with_c_d"),
        (result("../../etc/passwd"), "etc_passwd"),
        (result("שלום"), "run"),
        (result("x" * 300), "x" * 100),
        (result("CON"), "run_CON"),
    ],
)
def test_names_of_files(given: Result, stem: str) -> None:
    assert file_stem(given, set()) == stem


def test_no_file_is_written_twice() -> None:
    taken: set[str] = set()
    assert [file_stem(result(id_), taken) for id_ in ("h 1", "H_1", "h/1", "h_1_2")] == ["h_1", "H_1_2", "h_1_3", "h_1_2_2"]
