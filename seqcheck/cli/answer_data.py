"""Turns the answers to `verify` into the text of one JSON document."""

from collections.abc import Sequence

from seqcheck.cli.answer import Answer
from seqcheck.cli.load import Loaded
from seqcheck.report.json_form import SCHEMA_VERSION, Json, text_of, verification_data


def answers_text(answers: Sequence[Answer]) -> str:
    """Return the JSON text of one answer, or of several under `files`."""
    data = [answer_data(answer) for answer in answers]
    return text_of(data[0] if len(data) == 1 else {"schema": SCHEMA_VERSION, "files": data})


def answer_data(answer: Answer) -> dict[str, Json]:
    """Return one file's verification, or the diagnostics that refuse it."""
    if answer.verified is None:
        return diagnostics_data(answer.loaded)
    return verification_data(answer.verified, answer.searches, file=answer.loaded.file, sha256=answer.loaded.sha256)


def diagnostics_data(loaded: Loaded) -> dict[str, Json]:
    """Return the diagnostics of a refused file as JSON data."""
    return {
        "schema": SCHEMA_VERSION,
        "file": loaded.file,
        "diagnostics": [
            {
                "code": diagnostic.code.value,
                "severity": diagnostic.severity.value,
                "file": loaded.file,
                "line": diagnostic.span.line,
                "column": diagnostic.span.column,
                "message": diagnostic.message,
                "help": diagnostic.help,
            }
            for diagnostic in loaded.diagnostics
        ],
    }
