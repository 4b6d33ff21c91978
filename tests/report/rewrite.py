"""Writes every golden report anew: `python -m tests.report.rewrite`. Read what has changed before it is committed."""

from tests.report.goldens import CASES, NAMES, printed_report


def main() -> None:
    """Write the printed report of every case to its golden file."""
    for name in NAMES:
        (CASES / f"{name}.out").write_text(printed_report(name), encoding="utf-8")


if __name__ == "__main__":
    main()
