"""Turns text into a tree of nodes with the events of a YAML parser: the only file that imports yaml.

Aliases, anchors, tags, merge keys and further documents are refused here, and so is what nests too deeply or holds too
many nodes; the tree is built without recursion. Repeated keys are left in: what is repeated depends on the section.
"""

import re

import yaml

from seqcheck.diagnostics.codes import Code
from seqcheck.diagnostics.diagnostic import Sink
from seqcheck.diagnostics.span import START_OF_FILE, Span
from seqcheck.diagnostics.wording import quoted
from seqcheck.syntax.malformed import DEEPEST, TOO_DEEP, Malformed, Mark, report_malformed
from seqcheck.syntax.nodes import Entry, Mapping, Node, Scalar, Sequence, Source, Style

MOST_NODES = 100_000

_LOADER = getattr(yaml, "CBaseLoader", yaml.BaseLoader)
_STYLES: dict[str | None, Style] = {None: Style.PLAIN} | {style.value: style for style in Style}
_UNSEEN = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u2028\u2029\ud800-\udfff]")


def parse_tree(text: str, sink: Sink) -> Node | None:
    """Return the root node of *text*, or None if it is refused."""
    source = Source(text)
    try:
        return _TreeBuilder(source, sink).build()
    except yaml.MarkedYAMLError as error:
        fault = Malformed(str(error.problem or ""), str(error.context or ""), error.problem_mark, error.context_mark)
        report_malformed(fault, source, sink)
    except _RefusedError as refused:
        sink.report(refused.code, refused.span, refused.message, refused.help)
    return None


class _RefusedError(Exception):
    """What ends the reading of the tree."""

    def __init__(self, code: Code, span: Span, message: str, help_line: str) -> None:
        super().__init__(message)
        self.code = code
        self.span = span
        self.message = message
        self.help = help_line


class _Open:
    """A map or list whose end has not come yet."""

    def __init__(self, event: yaml.CollectionStartEvent, source: Source, start: int) -> None:
        self.is_map = isinstance(event, yaml.MappingStartEvent)
        self.flow = bool(event.flow_style)
        self.source = source
        self.start = start
        self.children: list[Node] = []

    def close(self) -> Node:
        """Return the finished node."""
        if not self.is_map:
            return Sequence(tuple(self.children), self.flow, self.source, self.start)
        entries = []
        for key, value in zip(self.children[::2], self.children[1::2], strict=True):
            if not isinstance(key, Scalar):
                help_line = "write the key as one word or text; put it in quotes if it begins with a bracket"
                raise _RefusedError(Code.WRONG_FORM, key.span, "the key of an entry must be a text", help_line)
            entries.append(Entry(key=key, value=value))
        return Mapping(tuple(entries), self.flow, self.source, self.start)


class _TreeBuilder:
    """Builds the tree of one text from the parser's events."""

    def __init__(self, source: Source, sink: Sink) -> None:
        self._source = source
        self._sink = sink
        self._open: list[_Open] = []
        self._root: Node | None = None
        self._nodes = 0
        self._documents = 0

    def build(self) -> Node | None:
        for event in yaml.parse(self._source.text, Loader=_LOADER):
            if isinstance(event, yaml.NodeEvent):
                self._refuse_features(event)
                self._node(event)
            elif isinstance(event, yaml.CollectionEndEvent):
                self._add(self._open.pop().close())
            elif isinstance(event, yaml.DocumentStartEvent):
                self._begin_document(event)
        if self._root is None or (isinstance(self._root, Scalar) and self._root.is_null):
            self._sink.report(Code.EMPTY_FILE, START_OF_FILE, "the file is empty", "begin with `machine: NAME`")
            return None
        return self._root

    def _begin_document(self, event: yaml.DocumentStartEvent) -> None:
        self._documents += 1
        if self._documents > 1:
            message = "a second document begins here"
            raise _RefusedError(Code.SEVERAL_DOCUMENTS, self._at(event), message, "put each machine into a file of its own")
        if event.version or event.tags:
            message = "directives are not allowed"
            raise _RefusedError(Code.REFUSED_YAML, self._at(event), message, "delete the lines that begin with %")

    def _offset(self, mark: Mark | None) -> int:
        return 0 if mark is None else self._source.offset(mark.line, mark.column)

    def _at(self, event: yaml.Event) -> Span:
        start = self._offset(event.start_mark)
        return self._source.span(start, start)

    def _refuse_features(self, event: yaml.NodeEvent) -> None:
        anchor = event.anchor
        if isinstance(event, yaml.AliasEvent):
            message = f"aliases are not allowed: {quoted('*' + str(anchor))}"
            raise _RefusedError(
                Code.REFUSED_YAML, self._at(event), message, "write the value out; a text that begins with * needs quotes"
            )
        if anchor is not None:
            message = f"anchors are not allowed: {quoted('&' + str(anchor))}"
            raise _RefusedError(
                Code.REFUSED_YAML, self._at(event), message, "delete it; a text that begins with & needs quotes"
            )
        tag = getattr(event, "tag", None)
        if tag is not None:
            message = f"tags are not allowed: {quoted(str(tag))}"
            raise _RefusedError(
                Code.REFUSED_YAML,
                self._at(event),
                message,
                "delete it; Structured Text writes NOT, and a text that begins with ! needs quotes",
            )

    def _node(self, event: yaml.NodeEvent) -> None:
        self._nodes += 1
        if self._nodes > MOST_NODES:
            message = f"the file has more than {MOST_NODES:,} entries"
            raise _RefusedError(Code.TOO_LARGE, self._at(event), message, "describe one machine only")
        if isinstance(event, yaml.CollectionStartEvent):
            if len(self._open) >= DEEPEST:
                raise _RefusedError(Code.NESTED_TOO_DEEPLY, self._at(event), *TOO_DEEP)
            self._open.append(_Open(event, self._source, self._offset(event.start_mark)))
        elif isinstance(event, yaml.ScalarEvent):
            self._add(self._scalar(event))

    def _scalar(self, event: yaml.ScalarEvent) -> Scalar:
        start = self._offset(event.start_mark)
        end = self._offset(event.end_mark)
        end = start + len(self._source.text[start:end].rstrip())
        scalar = Scalar(event.value, _STYLES[event.style], self._source, start, end)
        unseen = _UNSEEN.search(event.value) if scalar.style is Style.DOUBLE else None
        if unseen:
            message = f"the text holds the character U+{ord(unseen.group()):04X}, which does not show"
            raise _RefusedError(Code.FORBIDDEN_CHARACTER, scalar.span, message, "leave its escape out")
        if event.value == "<<" and scalar.style is Style.PLAIN:
            raise _RefusedError(Code.REFUSED_YAML, scalar.span, "merge keys are not allowed: `<<`", "write the entries out")
        return scalar

    def _add(self, node: Node) -> None:
        if self._open:
            self._open[-1].children.append(node)
        else:
            self._root = node
