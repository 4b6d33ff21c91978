"""Finds where the characters of a YAML scalar's value stand in the file: folding, quotes and escapes undone."""

_ESCAPE_LENGTHS = {"x": 4, "u": 6, "U": 10}
_BLANKS = " \t\n"


def source_offsets(text: str, start: int, style: str, value: str) -> list[int]:
    """Return for each character of *value* its index in *text*; the scalar begins at *start* and has *style*.

    Characters are matched greedily; one that can't be matched gets the place of the one before.
    """
    at = start
    if style in {"'", '"'}:
        at += 1
    elif style in {"|", ">"}:
        line_end = text.find("\n", start)
        at = len(text) if line_end < 0 else line_end + 1
    step = _step_double if style == '"' else _step_single if style == "'" else _step
    offsets: list[int] = []
    for character in value:
        found, after = step(text, at, character)
        if found < 0:
            found = offsets[-1] if offsets else min(at, len(text))
        else:
            at = after
        offsets.append(found)
    return offsets


def _step(text: str, at: int, character: str) -> tuple[int, int]:
    """Return where *character* stands at or after *at* and where to go on, or -1."""
    if character == " " and at < len(text) and text[at] == "\n":
        return at, at + 1  # a folded line end
    while at < len(text) and text[at] != character and text[at] in _BLANKS:
        at += 1
    return (at, at + 1) if at < len(text) and text[at] == character else (-1, at)


def _step_single(text: str, at: int, character: str) -> tuple[int, int]:
    found, after = _step(text, at, character)
    return (found, after + 1) if character == "'" and found >= 0 else (found, after)


def _step_double(text: str, at: int, character: str) -> tuple[int, int]:
    while True:
        while text.startswith("\\\n", at):  # a line end that is written to be nothing
            at += 2
            while at < len(text) and text[at] in " \t":
                at += 1
        if character in _BLANKS:
            break
        while at < len(text) and text[at] in _BLANKS:
            at += 1
        if not text.startswith("\\\n", at):
            break
    if text[at : at + 1] == "\\" and at + 1 < len(text):
        return at, at + _ESCAPE_LENGTHS.get(text[at + 1], 2)
    return _step(text, at, character)
