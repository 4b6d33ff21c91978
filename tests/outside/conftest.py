"""Lends the tests a way to put a text to the tool."""

from collections.abc import Callable
from pathlib import Path

import pytest

from tests.outside.answer import Answer, ask

Verify = Callable[..., Answer]


@pytest.fixture
def verify(tmp_path: Path) -> Verify:
    """Return a function that verifies a text and refuses to go on if the file is refused."""

    def run(text: str, *arguments: str) -> Answer:
        given = ask(text, tmp_path, *arguments)
        assert not given.diagnostics, (given.diagnostics, text)
        return given

    return run
