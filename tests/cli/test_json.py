"""`--json`: whole or not at all, alone on standard output, one form for one file and another for several."""

import hashlib
import json
import os
import threading
from pathlib import Path

import pytest

from seqcheck.cli import output
from tests.cli.calling import FAULTY, HOLDS, REFUSED, VIOLATED, call, counters, listed, put, told


def test_the_file_holds_the_result_and_the_terminal_the_text(tmp_path: Path) -> None:
    (file,) = put(tmp_path, violated=VIOLATED)
    target = tmp_path / "answer.json"
    result = call("verify", file, "--json", str(target))
    data = told(target.read_text(encoding="utf-8"))
    assert (data["machine"], data["file"], data["states"], data["transitions"], data["complete"]) == ("Bad", file, 2, 2, True)
    assert result.stdout.startswith("Bad ")
    assert {path.name for path in tmp_path.iterdir()} == {"violated.yaml", "answer.json"}


def test_a_dash_leaves_only_json_on_standard_output(tmp_path: Path) -> None:
    (file,) = put(tmp_path, violated=VIOLATED)
    result = call("verify", file, "--json", "-")
    assert told(result.stdout)["machine"] == "Bad"
    assert result.stderr.startswith("Bad ")
    assert "H1  It is b" in result.stderr


def test_the_hash_is_that_of_the_file(tmp_path: Path) -> None:
    (file,) = put(tmp_path, holds=HOLDS)
    data = told(call("verify", file, "--json", "-").stdout)
    assert data["file_sha256"] == hashlib.sha256(Path(file).read_bytes()).hexdigest()


def test_several_files_have_a_list_in_their_order(tmp_path: Path) -> None:
    files = put(tmp_path, violated=VIOLATED, refused=REFUSED, holds=HOLDS)
    data = told(call("verify", *files, "--json", "-").stdout)
    assert data.get("schema", 1) == 1
    assert set(data) <= {"schema", "files"}
    assert [one["file"] for one in listed(data, "files")] == files
    assert ["diagnostics" in one for one in listed(data, "files")] == [False, True, False]


def test_a_refused_file_gives_its_diagnostics(tmp_path: Path) -> None:
    (file,) = put(tmp_path, refused=REFUSED)
    result = call("verify", file, "--json", "-")
    data = told(result.stdout)
    (diagnostic,) = listed(data, "diagnostics")
    assert diagnostic == {
        "code": "E301",
        "severity": "error",
        "file": file,
        "line": 3,
        "column": 29,
        "message": "there is nothing called `q`",
        "help": "declare it, or check its spelling",
    }
    assert "results" not in data
    assert "E301" in result.stderr


def test_a_file_that_cannot_be_read_gives_a_diagnostic_too() -> None:
    (diagnostic,) = listed(told(call("verify", "absent.yaml", "--json", "-").stdout), "diagnostics")
    assert (diagnostic["code"], diagnostic["line"], diagnostic["column"]) == ("E100", 1, 1)


def test_large_numbers_of_the_file_are_strings(tmp_path: Path) -> None:
    text = f"machine: M\nmemory: {{n: {{range: {2**53}..{2**53 + 1}, starts: {2**53 + 1}}}}}\n"
    text += f"commands: {{go: {{then: {{n: {2**53}}}}}}}\n"
    text += f"hazards: {{H1: {{must not be: n = {2**53}}}}}\n"
    result = call("verify", *put(tmp_path, large=text), "--json", "-")
    assert result.exit_code == 1
    run = listed(told(result.stdout), "results")[0]
    assert run["start"] == {"n": str(2**53 + 1)}
    assert run["end"] == {"n": 2**53}


def test_faults_give_cases_the_first_without_and_equal_to_the_top(tmp_path: Path) -> None:
    (file,) = put(tmp_path, faulty=FAULTY)
    data = told(call("verify", file, "--json", "-", "--faults", "1").stdout)
    cases = listed(data, "cases")
    assert [case["faults"] for case in cases] == [[], ["breaks"], ["wears"]]
    for key in ("states", "transitions", "results", "findings", "complete"):
        assert cases[0][key] == data[key]
    assert [listed(case, "results")[0]["verdict"] for case in cases] == ["holds", "violated", "holds"]
    assert data["not_begun"] == []


@pytest.mark.parametrize(
    ("options", "sets"),
    [
        ([], None),
        (["--faults", "0"], None),
        (["--faults", "1"], [[], ["breaks"], ["wears"]]),
        (["--faults", "2"], [[], ["breaks"], ["wears"], ["breaks", "wears"]]),
        (["--fault", "wears"], [[], ["wears"]]),
        (["--fault", "wears", "--fault", "breaks"], [[], ["wears"], ["breaks"]]),
        (["--fault", "wears", "--fault", "wears"], [[], ["wears"]]),
        (["--fault", "wears", "--faults", "1"], [[], ["breaks"], ["wears"]]),
    ],
)
def test_which_sets_of_faults_are_studied(options: list[str], sets: list[list[str]] | None, tmp_path: Path) -> None:
    (file,) = put(tmp_path, faulty=FAULTY)
    data = told(call("verify", file, "--json", "-", *options).stdout)
    assert ([case["faults"] for case in listed(data, "cases")] if "cases" in data else None) == sets


def test_two_faults_that_stick_one_signal_are_no_set(tmp_path: Path) -> None:
    text = "machine: M\nparts: {p: [a, b]}\nsensors: {s: p = a}\n"
    text += "faults: {on: {sensor: s, stuck: TRUE}, off: {sensor: s, stuck: FALSE}}\n"
    data = told(call("verify", *put(tmp_path, both=text), "--json", "-", "--faults", "2").stdout)
    assert [case["faults"] for case in listed(data, "cases")] == [[], ["on"], ["off"]]


def test_an_unknown_fault_is_answered_with_the_names_there_are(tmp_path: Path) -> None:
    (file,) = put(tmp_path, faulty=FAULTY)
    result = call("verify", file, "--fault", "brakes")
    assert result.exit_code == 2
    assert "the file has no fault “brakes”; its faults: “breaks”, “wears”" in result.stderr
    assert result.stdout == ""


def test_an_existing_file_is_kept_when_writing_fails(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (file,) = put(tmp_path, holds=HOLDS)
    target = tmp_path / "answer.json"
    target.write_text("kept", encoding="utf-8")

    def fail(*_paths: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "replace", fail)
    result = call("verify", file, "--json", str(target))
    assert result.exit_code == 2
    assert "No space left on device" in result.stderr
    assert target.read_text(encoding="utf-8") == "kept"
    assert {path.name for path in tmp_path.iterdir()} == {"holds.yaml", "answer.json"}


def test_an_interruption_while_writing_leaves_nothing_behind(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def interrupt(*_paths: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(Path, "replace", interrupt)
    with pytest.raises(KeyboardInterrupt):
        output.write_whole(str(tmp_path / "answer.json"), "{}\n")
    assert list(tmp_path.iterdir()) == []


def test_a_target_that_cannot_be_written_is_said_and_is_no_verdict(tmp_path: Path) -> None:
    (file,) = put(tmp_path, holds=HOLDS)
    absent = tmp_path / "absent" / "answer.json"
    result = call("verify", file, "--json", str(absent))
    assert result.exit_code == 2
    assert f"cannot write {absent}" in result.stderr
    assert not absent.parent.exists()


def test_a_folder_is_no_target(tmp_path: Path) -> None:
    (file,) = put(tmp_path, holds=HOLDS)
    assert call("verify", file, "--json", str(tmp_path)).exit_code == 2
    assert {path.name for path in tmp_path.iterdir()} == {"holds.yaml"}


def test_a_target_that_is_no_plain_file_is_written_to_and_not_replaced(tmp_path: Path) -> None:
    """`--json /dev/null` or a named pipe must still be one afterwards."""
    (file,) = put(tmp_path, holds=HOLDS)
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    read: list[str] = []
    handle = os.open(pipe, os.O_RDWR | os.O_NONBLOCK)
    try:
        reader = threading.Thread(target=lambda: read.append(os.read(handle, 65536).decode()), daemon=True)
        call("verify", file, "--json", str(pipe))
        assert pipe.is_fifo()
        reader.start()
        reader.join(5)
    finally:
        os.close(handle)
    assert json.loads(read[0])["machine"] == "Fine"


def test_the_sequence_file_itself_is_never_written_over(tmp_path: Path) -> None:
    (file,) = put(tmp_path, holds=HOLDS)
    assert call("verify", file, "--json", file).exit_code == 2
    assert Path(file).read_text(encoding="utf-8") == HOLDS


def test_a_new_file_can_be_read_by_others(tmp_path: Path) -> None:
    (file,) = put(tmp_path, holds=HOLDS)
    call("verify", file, "--json", str(tmp_path / "answer.json"))
    assert (tmp_path / "answer.json").stat().st_mode & 0o777 == 0o644


def test_an_unfinished_search_says_so_to_programs(tmp_path: Path) -> None:
    (file,) = put(tmp_path, many=counters(4, 9))
    data = told(call("verify", file, "--json", "-", "--max-states", "40").stdout)
    assert (data["complete"], data["stopped_by"]) == (False, "states")
    assert data["complete_steps"] in {0, 1, 2}
    assert {str(row["id"]): row["verdict"] for row in listed(data, "results")}["far"] == "undecided"
