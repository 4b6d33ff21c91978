"""Writes every golden report anew: `python -m tests.report.rewrite`. Read what has changed before it is committed."""

from tests.report.goldens import CASES, NAMES, transcript


def main() -> None:
    """Write the transcript of every case to its golden file."""
    for name in NAMES:
        (CASES / f"{name}.out").write_text(transcript(name), encoding="utf-8")


if __name__ == "__main__":
    main()
