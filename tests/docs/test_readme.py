"""README.md says what is true: the worked example's output, the two commands, the files it names, the keys of the JSON."""

import re
from pathlib import Path

import pytest
from click.testing import CliRunner

from seqcheck.cli.main import COMMANDS, group

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")
EXAMPLE = README.split("```yaml\n")[1].split("```")[0]
FENCE = re.compile(r"<!-- output of the worked example -->\n```\n(.*?)```\n", re.DOTALL)


def output(text: str, folder: Path, monkeypatch: pytest.MonkeyPatch) -> str:
    """Return what `verify` prints, times made zero."""
    (folder / "chuck.yaml").write_text(text, encoding="utf-8")
    monkeypatch.chdir(folder)
    printed = CliRunner().invoke(group, ["verify", "chuck.yaml"]).output
    return re.sub(r"in \d+\.\d+ s \(engine", "in 0.01 s (engine", printed)


def test_the_worked_example_prints_what_the_page_shows(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    shown = FENCE.search(README)
    assert shown is not None
    assert shown[1] == output(EXAMPLE, tmp_path, monkeypatch)


@pytest.mark.parametrize(("pt", "verdict"), [(7, "VIOLATED"), (8, "VIOLATED"), (9, "holds")])
def test_what_the_page_says_of_other_times(pt: int, verdict: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    printed = output(EXAMPLE.replace("pt: 5 s", f"pt: {pt} s"), tmp_path, monkeypatch)
    assert re.search(rf"^  {verdict} +H1 ", printed, re.MULTILINE)


def test_it_opens_with_the_job_and_two_commands() -> None:
    opening = README.split("\n\n")
    assert opening[0] == "# seqcheck"
    assert opening[1].startswith("seqcheck answers one question")
    commands = re.findall(r"```sh\n(.*?)```", README, re.DOTALL)
    assert len(commands) == 2
    assert commands[1] in (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    assert all(command.count("\n") == 1 for command in commands)


def test_every_file_and_command_it_names_is_there() -> None:
    for name in re.findall(r"(?:sequences|seqcheck)/[\w/.]+\.(?:yaml|md|py)", README):
        assert (ROOT / name).is_file(), name
    assert set(re.findall(r"^\| `seqcheck ([\w-]+)", README, re.MULTILINE)) == set(COMMANDS)


def test_the_top_level_is_what_was_agreed() -> None:
    allowed = {"README.md", "DEVELOPERS.md", "pyproject.toml", "seqcheck", "sequences", "tests", "diagrams"}
    here = {path.name for path in ROOT.iterdir() if not path.name.startswith(".") and not path.name.endswith(".egg-info")}
    assert here - {"build"} == allowed
