"""Turns the bytes of a file into text with addressable lines, or says why they are none. Knows nothing of YAML."""

import re

from seqcheck.diagnostics.codes import Code
from seqcheck.diagnostics.diagnostic import Sink
from seqcheck.diagnostics.span import START_OF_FILE, Span

MOST_BYTES = 4 * 1024 * 1024
LONGEST_LINE = 100_000

_FORBIDDEN = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u2028\u2029\ufeff\ufffe\uffff]")


def decode(data: bytes, sink: Sink) -> str | None:
    """Return the text with line feeds as its only line ends and no byte order mark."""
    if len(data) > MOST_BYTES:
        message = f"the file is {len(data):,} bytes long; the most is {MOST_BYTES:,}"
        sink.report(
            Code.TOO_LARGE, START_OF_FILE, message, "a sequence file holds one machine: leave out what is no part of it"
        )
        return None
    data = data.removeprefix(b"\xef\xbb\xbf")
    try:
        text = data.decode("utf-8")
    except UnicodeDecodeError as error:
        _report_undecodable(data, error.start, sink)
        return None
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    return text if _lines_fit(text, sink) and _characters_fit(text, sink) else None


def _report_undecodable(data: bytes, at: int, sink: Sink) -> None:
    before = data[:at].decode("utf-8").replace("\r\n", "\n").replace("\r", "\n")
    line = before.count("\n") + 1
    column = len(before) - (before.rfind("\n") + 1) + 1
    sink.report(
        Code.NOT_TEXT,
        Span.at(line, column),
        f"the byte 0x{data[at]:02X} here is not UTF-8",
        "save the file as UTF-8; an editor may call the other way of writing it Latin-1, Windows-1252 or UTF-16",
    )


def _lines_fit(text: str, sink: Sink) -> bool:
    if len(text) <= LONGEST_LINE:
        return True
    start = 0
    line = 1
    while start <= len(text):
        end = text.find("\n", start)
        end = len(text) if end < 0 else end
        if end - start > LONGEST_LINE:
            message = f"the line is {end - start:,} characters long; the most is {LONGEST_LINE:,}"
            sink.report(Code.TOO_LARGE, Span.at(line, 1), message, "break it into several lines")
            return False
        start = end + 1
        line += 1
    return True


def _characters_fit(text: str, sink: Sink) -> bool:
    found = _FORBIDDEN.search(text)
    if found is None:
        return True
    at = found.start()
    line = text.count("\n", 0, at) + 1
    column = at - (text.rfind("\n", 0, at) + 1) + 1
    message = f"the character U+{ord(found.group()):04X} is not allowed in a sequence file"
    sink.report(Code.FORBIDDEN_CHARACTER, Span.at(line, column), message, "delete it; it does not show on the screen")
    return False
