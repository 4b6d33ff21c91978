"""`seqcheck compare` at the command line: exit codes, what is refused, the text and the JSON of a small pair."""

import json
import re
import signal
import subprocess
import sys
import time
from contextlib import chdir
from pathlib import Path

import pytest

from tests.cli.calling import HOLDS, REFUSED, VIOLATED, call, command, listed, mixer, put, told

CASES = Path(__file__).parent / "comparing"
AGO = re.compile(r"\(\d+\.\d\d s\)")
HASH = re.compile(r"\bsha256 [0-9a-f]{12}\b")
CHANGED = HOLDS.replace("if: p = b", "if: p = a")


def test_the_same_is_0(tmp_path: Path) -> None:
    called = call("compare", *put(tmp_path, a=HOLDS, b=HOLDS.replace("Fine", "Better") + "# a comment\n"))
    assert called.exit_code == 0
    assert "Same behaviour" in called.stdout


def test_something_else_is_1(tmp_path: Path) -> None:
    called = call("compare", *put(tmp_path, a=HOLDS, b=CHANGED))
    assert called.exit_code == 1
    assert "Behaviour differs" in called.stdout


def test_what_is_asked_counts(tmp_path: Path) -> None:
    called = call("compare", *put(tmp_path, a=HOLDS, b=VIOLATED))
    assert called.exit_code == 1
    assert "H1: It is b: not asked before, VIOLATED now" in called.stdout


def test_a_file_that_is_refused_is_2(tmp_path: Path) -> None:
    called = call("compare", *put(tmp_path, a=HOLDS, b=REFUSED))
    assert called.exit_code == 2
    assert "refused, 1 error" in called.stderr
    assert call("compare", *put(tmp_path, a=HOLDS), str(tmp_path / "none.yaml")).exit_code == 2


def test_a_renaming_that_says_nothing_is_2(tmp_path: Path) -> None:
    files = put(tmp_path, a=HOLDS, b=HOLDS)
    called = call("compare", *files, "--rename", "bakc=back")
    assert called.exit_code == 2
    assert "the old file has nothing named “bakc”; did you mean “back”?" in called.stderr


def test_renamed_is_0(tmp_path: Path) -> None:
    other = HOLDS.replace("go:", "move:").replace("p: [a, b]", "p: [a, c]").replace("p: b", "p: c").replace("p = b", "p = c")
    files = put(tmp_path, a=HOLDS, b=other)
    assert call("compare", *files).exit_code == 1
    assert call("compare", *files, "--rename", "go=move", "--rename", "p.b=p.c").exit_code == 0


def test_different_ticks_are_2_with_what_to_do(tmp_path: Path) -> None:
    called = call("compare", *put(tmp_path, a="tick: 1500 ms\n" + HOLDS, b="tick: 1 s\n" + HOLDS))
    assert called.exit_code == 2
    assert "write `tick: 500 ms` in both" in called.stderr


def test_a_limit_is_3(tmp_path: Path) -> None:
    called = call("compare", *put(tmp_path, a=HOLDS, b=HOLDS.replace("if: p = b", "if: NOT (p = a)")), "--max-states", "1")
    assert called.exit_code == 3
    assert "ended early at the limit on states" in called.stdout


def test_a_result_never_overwrites_a_file(tmp_path: Path) -> None:
    files = put(tmp_path, a=HOLDS, b=CHANGED)
    assert call("compare", *files, "--json", files[0]).exit_code == 2
    assert Path(files[0]).read_text(encoding="utf-8") == HOLDS


def test_json(tmp_path: Path) -> None:
    called = call("compare", *put(tmp_path, a=HOLDS, b=CHANGED), "--json", "-")
    data = told(called.stdout)
    assert (data["schema"], data["outcome"], data["complete"], data["searched"]) == (
        "seqcheck-compare/1",
        "differs",
        True,
        True,
    )
    (step,) = listed(data, "steps")
    assert (step["by"], step["new"]) == ({"kind": "person", "name": "back"}, None)
    gone = step["gone"]
    assert isinstance(gone, dict)
    assert (gone["count"], gone["file"], gone["steps"]) == (1, "old", 2)
    assert [one["by"] for one in listed(gone, "run")] == [{"kind": "person", "name": name} for name in ("go", "back")]
    assert "Behaviour differs" in called.stderr


def test_json_of_the_same(tmp_path: Path) -> None:
    target = tmp_path / "result.json"
    assert call("compare", *put(tmp_path, a=HOLDS, b=HOLDS), "--json", str(target)).exit_code == 0
    data = json.loads(target.read_text(encoding="utf-8"))
    assert (data["outcome"], data["searched"], data["old"]["states"], data["commands"]) == ("same", False, None, [])


@pytest.mark.skipif(sys.platform == "win32", reason="signals")
def test_ctrl_c_is_3(tmp_path: Path) -> None:
    old = mixer(6, 11)
    files = put(tmp_path, a=old, b=old.replace("MOD 3 <> 1", "MOD 3 <> 4 - 3"))
    running = subprocess.Popen(command("compare", *files), stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    time.sleep(1.5)
    running.send_signal(signal.SIGINT)
    said, aside = running.communicate(timeout=30)
    assert running.returncode == 3, aside
    assert "Traceback" not in said + aside


@pytest.mark.parametrize("name", ["press"])
def test_the_text_is_the_golden_one(name: str) -> None:
    with chdir(CASES):
        called = call("compare", f"{name}_old.yaml", f"{name}_new.yaml")
    said = HASH.sub("sha256 ............", AGO.sub("(... s)", called.stdout))
    golden = CASES / f"{name}.out"
    assert f"{said}--- exit code {called.exit_code}\n" == golden.read_text(encoding="utf-8")
