"""What came of one file on the command line of `verify`."""

from dataclasses import dataclass

from seqcheck.analyse.verdict import Verification
from seqcheck.cli.load import Loaded


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """One file's exit code and verification; None if the file was refused."""

    code: int
    loaded: Loaded
    verified: Verification | None
