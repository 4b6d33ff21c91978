"""What came of one file on the command line of `verify`."""

from collections.abc import Mapping

from msgspec import Struct, field

from seqcheck.analyse.verdict import Verification
from seqcheck.cli.load import Loaded
from seqcheck.report.narrate import Vocabulary
from seqcheck.report.searched import Searched


class Answer(Struct, frozen=True, kw_only=True):
    """One file's exit code and verification with its *words* (None: it was refused). *searches* tells of its searches."""

    code: int
    loaded: Loaded
    verified: Verification | None
    words: Vocabulary | None = None
    searches: Mapping[tuple[str, ...], Searched] = field(default_factory=dict)
