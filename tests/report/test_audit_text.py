"""What is said of audits, word for word. To renew: `python -m tests.report.test_audit_text`; read the difference aloud."""

import json
from contextlib import chdir
from pathlib import Path

import pytest
from click.testing import CliRunner

from seqcheck.cli.main import group
from tests.report.goldens import HASH

HERE = Path(__file__).parent / "audits"
NAMES = tuple(sorted(path.stem for path in HERE.glob("*.yaml")))
OPTIONS = {"wheel": ["--runs"], "blade": ["--people"]}
WIDEST = 115


def said(name: str, *options: str) -> str:
    """Return what an audit prints; its exit code must be 0."""
    with chdir(HERE):
        result = CliRunner().invoke(group, ["audit", f"{name}.yaml", *options])
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    assert result.exit_code == 0, result.output
    return result.stdout


def text(name: str) -> str:
    return HASH.sub("sha256 ............", said(name, *OPTIONS[name]))


def data(name: str) -> dict[str, object]:
    told: dict[str, object] = json.loads(said(name, *OPTIONS[name], "--json", "-"))
    return told | {"file_sha256": "."}


@pytest.mark.parametrize("name", NAMES)
def test_an_audit_is_told_as_the_golden_file_has_it(name: str) -> None:
    assert text(name) == (HERE / f"{name}.txt").read_text(encoding="utf-8")
    assert data(name) == json.loads((HERE / f"{name}.json").read_text(encoding="utf-8"))


@pytest.mark.parametrize("name", NAMES)
def test_no_line_is_too_long_to_be_read(name: str) -> None:
    assert [line for line in text(name).splitlines() if len(line) > WIDEST] == []


@pytest.mark.parametrize("name", NAMES)
def test_the_caution_comes_last_and_nothing_is_called_safe(name: str) -> None:
    assert text(name).rstrip().endswith("local codes and licensed practice come first.")
    assert "safe" not in text(name)
    assert "certified" not in text(name)


def main() -> None:
    """Write the golden files anew."""
    for name in NAMES:
        (HERE / f"{name}.txt").write_text(text(name), encoding="utf-8")
        (HERE / f"{name}.json").write_text(json.dumps(data(name), indent=1, ensure_ascii=False) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
