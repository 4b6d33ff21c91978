"""Holds a tree of nodes against the forms of `sections` and reports what does not fit; gives the tree without misfits.

What does not fit is replaced by a null scalar, so that its name stays known and nobody reports a second fault for it.
"""

from seqcheck.diagnostics.codes import Code
from seqcheck.diagnostics.diagnostic import Sink
from seqcheck.diagnostics.span import Span
from seqcheck.diagnostics.wording import NearNames, listed, quoted
from seqcheck.syntax.forms import Form, Key, Keyed, Leaf, Listing, Named, OneOf, Single
from seqcheck.syntax.nodes import Entry, Mapping, Node, Scalar, Sequence, Source, Style
from seqcheck.syntax.words import LONGEST_NAME

_NODE_KINDS = {Scalar: "a single text", Mapping: "a map", Sequence: "a list"}


class Conformer:
    """Checks the nodes of one file against forms."""

    def __init__(self, sink: Sink) -> None:
        self._sink = sink
        self._near = NearNames()

    def conform(self, node: Node, form: Form, owner: Scalar) -> Node:
        """Return *node* with misfits made null; *owner* is the key it stands under."""
        if isinstance(form, OneOf):
            return self._one_of(node, form, owner)
        if isinstance(form, Single) and isinstance(node, Scalar):
            return self._single(node, form)
        if isinstance(form, Listing) and isinstance(node, Sequence):
            return self._listing(node, form, owner)
        if isinstance(form, Keyed) and isinstance(node, Mapping):
            return self.keyed(node, form, owner)
        if isinstance(form, Named) and isinstance(node, Mapping):
            return self._named(node, form, owner)
        self._misfit(node, _described(form), form.example, owner)
        return null(node)

    def _misfit(self, node: Node, wanted: str, example: str, owner: Scalar) -> None:
        message = f"{quoted(owner.value)} is {_NODE_KINDS[type(node)]}, where {wanted} is expected"
        self._sink.report(Code.WRONG_FORM, node.span, message, f"for example: {example}")

    def _no_value(self, owner: Scalar, example: str) -> None:
        self._sink.report(Code.NO_VALUE, owner.span, f"{quoted(owner.value)} has no value", f"for example: {example}")

    def _single(self, node: Scalar, form: Single) -> Node:
        if form.choices and node.value.upper() not in map(str.upper, form.choices):
            help_line = self._near.hint(node.value, form.choices, "one of")
            self._sink.report(Code.NOT_A_CHOICE, node.span, f"{quoted(node.value)} is not known here", help_line)
            return null(node)
        return node

    def _listing(self, node: Sequence, form: Listing, owner: Scalar) -> Node:
        if not node.items and not form.may_be_empty:
            self._sink.report(Code.EMPTY, owner.span, f"{quoted(owner.value)} is an empty list", f"for example: {form.example}")
            return null(node)
        items = []
        for item in node.items:
            if _is_null(item):
                message = f"{quoted(owner.value)} has an entry without a value"
                self._sink.report(Code.NO_VALUE, item.span, message, f"for example: {form.example}")
            else:
                items.append(self.conform(item, form.item, owner))
        return Sequence(tuple(items), node.flow, node.source, node.start)

    def _one_of(self, node: Node, form: OneOf, owner: Scalar) -> Node:
        fitting = [f for f in form.forms if _takes(f, node)]
        if not fitting:
            self._misfit(node, form.what, form.example, owner)
            return null(node)
        if len(fitting) == 1 or not isinstance(node, Mapping):
            return self.conform(node, fitting[0], owner)
        chosen = self._led(node, [f for f in fitting if isinstance(f, Keyed)], form, owner)
        return null(node) if chosen is None else self.keyed(node, chosen, owner)

    def _led(self, node: Mapping, kinds: list[Keyed], form: OneOf, owner: Scalar) -> Keyed | None:
        """Return the kind whose leading key the map has."""
        keys = {entry.key.value: entry.key for entry in node.entries}
        led = [kind for kind in kinds if kind.lead in keys]
        if len(led) == 1:
            return led[0]
        leads = [kind.lead for kind in kinds]
        if led:
            both = listed([kind.lead for kind in led], in_quotes=True)
            message = f"{quoted(owner.value)} has the keys of {len(led)} kinds of entry at once: {both}"
            self._sink.report(Code.WHICH_KIND, keys[led[1].lead].span, message, f"keep one of them: {form.example}")
            return None
        for key in keys.values():
            near = self._near.near(key.value, leads)
            if near:
                self._unknown_key(key, form.what, f"did you mean {quoted(near)}?")
                return None
        none_of = listed(leads, in_quotes=True)
        message = f"{quoted(owner.value)} does not say what kind of entry it is: it has none of {none_of}"
        self._sink.report(Code.WHICH_KIND, owner.span, message, f"for example: {form.example}")
        return None

    # --- maps ---
    def keyed(self, node: Mapping, form: Keyed, owner: Scalar) -> Mapping:
        """Check a map with certain keys."""
        known = {key.name: key for key in form.keys}
        first: dict[str, Scalar] = {}
        meant: set[str] = set()
        entries = []
        for entry in self._uncut(node):
            key = entry.key
            if key.value not in known:
                meant.add(self._unknown(entry, form, node))
            elif key.value in first:
                self._duplicate(key, first[key.value])
            else:
                first[key.value] = key
                entries.append(Entry(key, self._value(entry, known[key.value].form)))
        for wanted in form.keys:
            if wanted.required and wanted.name not in first and wanted.name not in meant:
                self._missing(wanted, form, owner)
        return Mapping(tuple(entries), node.flow, node.source, node.start)

    def _named(self, node: Mapping, form: Named, owner: Scalar) -> Node:
        if not node.entries and not form.may_be_empty:
            self._sink.report(Code.EMPTY, owner.span, f"{quoted(owner.value)} is empty", f"for example: {form.example}")
        first: dict[str, Scalar] = {}
        reserved = {key.name: key.form for key in form.reserved}
        entries = []
        for entry in self._uncut(node):
            name = entry.key.value.casefold() if form.identifiers else entry.key.value
            if name in first:
                self._duplicate(entry.key, first[name])
            elif name in reserved or self._is_name(entry.key, form.what):
                first[name] = entry.key
                entries.append(Entry(entry.key, self._value(entry, reserved.get(name, form.entry))))
        return Mapping(tuple(entries), node.flow, node.source, node.start)

    def _value(self, entry: Entry, form: Form) -> Node:
        if entry.value is _BROKEN:
            return null(entry.key)
        if _is_null(entry.value):
            if not (isinstance(form, Named) and form.may_be_empty):
                self._no_value(entry.key, form.example)
            return null(entry.key)
        return self.conform(entry.value, form, entry.key)

    def _is_name(self, key: Scalar, what: str) -> bool:
        if key.value.strip() and key.value.isprintable() and len(key.value) <= LONGEST_NAME:
            return True
        help_line = f"a name is one line of at most {LONGEST_NAME} characters that all show, and not empty"
        self._sink.report(Code.BAD_NAME, key.span, f"this can't be the name of a {what}", help_line)
        return False

    def _duplicate(self, key: Scalar, first: Scalar) -> None:
        message = f"{quoted(key.value)} stands here a second time; the first is in line {first.span.line}"
        self._sink.report(Code.DUPLICATE_KEY, key.span, message, "keep one of them, or give this one another name")

    def _unknown(self, entry: Entry, form: Keyed, node: Mapping) -> str:
        """Report a key that the form does not have; return the one it may stand for."""
        key, value = entry.key, entry.value
        near = self._near.near(key.value, [k.name for k in form.keys])
        if node.flow and _is_null(value) and not near:
            message = f"a comma ends the value before {quoted(key.value)}, which so became a key"
            self._sink.report(Code.CUT_AT_COMMA, key.span, message, "put the whole value before it in quotes")
            return ""
        choices = listed([k.name for k in form.keys], most=20)
        self._unknown_key(key, form.what, f"did you mean {quoted(near)}?" if near else f"the keys are: {choices}")
        return near

    def _unknown_key(self, key: Scalar, what: str, help_line: str) -> None:
        self._sink.report(Code.UNKNOWN_KEY, key.span, f"{what} has no key {quoted(key.value)}", help_line)

    def _missing(self, wanted: Key, form: Keyed, owner: Scalar) -> None:
        holder = quoted(owner.value) if owner.value else "the file"
        message = f"{holder} has no {quoted(wanted.name)}"
        self._sink.report(Code.MISSING_KEY, owner.span, message, f"{form.what} is written like this: {form.example}")

    def _uncut(self, node: Mapping) -> list[Entry]:
        """Return the entries, a value that a comma cuts inside parentheses marked broken and its pieces left out."""
        if not node.flow:
            return list(node.entries)
        entries: list[Entry] = []
        pending = list(reversed(node.entries))
        while pending:
            entry = pending.pop()
            open_count = _opened(entry.value)
            last_piece: Scalar | None = None
            while open_count > 0 and pending and _is_null(pending[-1].value):
                last_piece = pending.pop().key
                open_count += _opened(last_piece)
            if last_piece is not None:
                self._cut(entry, last_piece.span)
            entries.append(entry if last_piece is None else Entry(entry.key, _BROKEN))
        return entries

    def _cut(self, entry: Entry, end: Span) -> None:
        message = f"the value of {quoted(entry.key.value)} is cut at a comma: inside braces YAML ends an unquoted value there"
        self._sink.report(Code.CUT_AT_COMMA, entry.value.span.to(end), message, "put the whole value in quotes")


def null(node: Node) -> Scalar:
    """Make the scalar that stands for *node*, which could not be read."""
    return Scalar("", Style.PLAIN, node.source, node.start, node.start)


_BROKEN = Scalar("", Style.PLAIN, Source(""), 0, 0)


def _is_null(node: Node) -> bool:
    return isinstance(node, Scalar) and node.is_null


def _opened(node: Node) -> int:
    """Count the parentheses that an unquoted text opens and does not close."""
    if isinstance(node, Scalar) and node.style is Style.PLAIN:
        return node.value.count("(") - node.value.count(")")
    return 0


def _takes(form: Form, node: Node) -> bool:
    if isinstance(form, Single) and form.leaf is Leaf.BOOL:
        return isinstance(node, Scalar)
    return isinstance(node, {Single: Scalar, Listing: Sequence, Keyed: Mapping, Named: Mapping, OneOf: object}[type(form)])


def _described(form: Form) -> str:
    if isinstance(form, Single):
        return form.leaf.value
    if isinstance(form, Listing):
        return "a list"
    return "a map" if isinstance(form, Named) else form.what
