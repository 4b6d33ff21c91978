"""Turns the bytes of a sequence file into a document; names and types are the checker's."""

from seqcheck.diagnostics.codes import Code
from seqcheck.diagnostics.diagnostic import Sink
from seqcheck.diagnostics.span import START_OF_FILE
from seqcheck.syntax.build import Builder
from seqcheck.syntax.conform import Conformer
from seqcheck.syntax.document import Document
from seqcheck.syntax.nodes import Mapping, Scalar, Source, Style
from seqcheck.syntax.sections import FILE
from seqcheck.syntax.text import decode
from seqcheck.syntax.yaml_tree import parse_tree


def read(data: bytes, sink: Sink) -> Document | None:
    """Return what the file says, or None if nothing of it can be used; faults go to *sink*."""
    text = decode(data, sink)
    root = None if text is None else parse_tree(text, sink)
    if root is None:
        return None
    if not isinstance(root, Mapping):
        sink.report(Code.EMPTY_FILE, START_OF_FILE, "the file has no map of sections at its top", "begin with `machine: NAME`")
        return None
    whole_file = Scalar("", Style.PLAIN, Source(""), 0, 0)
    fitting = Conformer(sink).keyed(root, FILE, whole_file)
    return Builder(sink).document(fitting, names_lost=_names_lost(root, fitting))


def _names_lost(root: Mapping, fitting: Mapping) -> bool:
    """Tell whether a whole section was dropped: unknown, given twice, or of a wrong form."""
    written = {entry.key.value: entry.value for entry in root.entries}
    kept = {entry.key.value: entry.value for entry in fitting.entries}
    if len(root.entries) > len(fitting.entries):
        return True
    return any(isinstance(kept[name], Scalar) and not isinstance(value, Scalar) for name, value in written.items())
