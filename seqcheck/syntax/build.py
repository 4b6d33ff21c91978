"""Builds the document from a tree whose shape was checked: reads expressions, durations, ranges and the like."""

import re
from collections.abc import Callable
from functools import partial
from typing import TypeVar

from seqcheck.diagnostics.codes import Code
from seqcheck.diagnostics.diagnostic import Sink
from seqcheck.diagnostics.wording import quoted
from seqcheck.syntax import document as doc
from seqcheck.syntax.durations import read_duration, read_interval
from seqcheck.syntax.expression import parse_expression
from seqcheck.syntax.nodes import Entry, Mapping, Node, Scalar, Sequence
from seqcheck.syntax.words import TRUTHS

_RANGE = re.compile(r"\s*([+-]?[0-9][0-9_]{0,40})\s*\.\.\s*([+-]?[0-9][0-9_]{0,40})\s*")
_MOST_DIGITS = 18
_DEMAND_CONDITIONS = (
    "must not be", "reachable", "recoverable", "while", "makes", "when", "then", "unless", "before", "first", "since",
)  # fmt: skip
_KINDS = ("must not be", "reachable", "recoverable", "forbid", "only", "when", "before")
_VARIABLES = ("parts", "panel", "outputs", "memory")
_RULES = ("trips", "plant", "people", "faults")
_DERIVE = "derive"
_T = TypeVar("_T")


class Fields:
    """The values of a checked map by key; what could not be read counts as absent."""

    def __init__(self, node: Node | None) -> None:
        entries = node.entries if isinstance(node, Mapping) else ()
        self._values = {entry.key.value: entry.value for entry in entries}

    def get(self, key: str) -> Node | None:
        """Return the value under *key* if it is there and was readable."""
        value = self._values.get(key)
        return None if isinstance(value, Scalar) and value.is_null else value

    def has(self, key: str) -> bool:
        """Tell whether the key is written, readable or not."""
        return key in self._values

    def keys(self) -> frozenset[str]:
        """Return the keys that are written, readable or not."""
        return frozenset(self._values)

    def within(self, key: str) -> "Fields":
        """Return the values of the map under *key*."""
        return Fields(self.get(key))

    def text(self, key: str) -> str:
        """Return the text under *key*, or an empty one."""
        value = self.get(key)
        return value.value.strip() if isinstance(value, Scalar) else ""


class Builder:
    """Builds the document of one file."""

    def __init__(self, sink: Sink) -> None:
        self._sink = sink

    def document(self, root: Mapping, *, names_lost: bool) -> doc.Document:
        """Build the whole document."""
        top = Fields(root)
        variables = [v for name in _VARIABLES for v in _each(top, name, partial(self._variable, name))]
        rules = [
            r for name in _RULES for r in _each(top, name, partial(self._rule, name), but=_DERIVE if name == "faults" else "")
        ]
        demands = [d for name in ("hazards", "requirements") for d in _each(top, name, self._demand)]
        return doc.Document(
            machine=top.text("machine"),
            revision=top.text("revision"),
            tick=self._duration(top.get("tick")),
            tick_given=top.has("tick"),
            variables=tuple(variables),
            sensors=_each(top, "sensors", self._sensor),
            timers=_each(top, "timers", self._timer),
            commands=_each(top, "commands", self._command),
            rules=tuple(rules),
            derive=_texts(top.within("faults").get(_DERIVE)) or (),
            demands=tuple(demands),
            procedures=_each(top, "procedures", self._procedure),
            names_lost=names_lost,
        )

    # --- single texts ---
    def _formula(self, node: Node | None) -> doc.Formula | None:
        if not isinstance(node, Scalar):
            return None
        term = parse_expression(node.value, node.places(), self._sink)
        return doc.Formula(term, " ".join(node.value.split()), node.span)

    def _duration(self, node: Node | None) -> doc.Period | None:
        if not isinstance(node, Scalar):
            return None
        seconds = read_duration(node.value)
        if seconds is None:
            self._not_a_time(node, "a duration", "write it like `500 ms`, `1.5 s`, `2 min` or T#1m30s")
            return None
        return doc.Period(seconds, seconds, node.span)

    def _interval(self, node: Node | None) -> doc.Period | None:
        if isinstance(node, Mapping):
            fields = Fields(node)
            period = self._interval(fields.get("time"))
            return None if period is None else doc.Period(period.seconds, period.latest, period.span, fields.text("source"))
        if not isinstance(node, Scalar):
            return None
        bounds = read_interval(node.value)
        if bounds is None:
            self._not_a_time(node, "an interval", "write it like `1..2 s`, `1 s`, `500 ms..2 s`, `3 s or more` or `at once`")
            return None
        return doc.Period(bounds.earliest, bounds.latest, node.span)

    def _not_a_time(self, node: Scalar, what: str, help_line: str) -> None:
        self._sink.report(Code.BAD_DURATION, node.span, f"{quoted(node.value)} is not {what}", help_line)

    def _range(self, node: Node | None) -> tuple[int, int] | None:
        if not isinstance(node, Scalar):
            return None
        found = _RANGE.fullmatch(node.value)
        if found is None or any(sum(map(str.isdigit, bound)) > _MOST_DIGITS for bound in found.groups()):
            message = f"{quoted(node.value)} is not a range of whole numbers"
            self._sink.report(Code.BAD_RANGE, node.span, message, "write it like `0..3` or `-5..5`")
            return None
        lowest, highest = (int(bound.replace("_", "")) for bound in found.groups())
        if lowest > highest:
            message = f"the range ends at {highest}, before it begins at {lowest}"
            self._sink.report(Code.BAD_RANGE, node.span, message, f"did you mean `{highest}..{lowest}`?")
            return None
        return lowest, highest

    # --- declarations ---
    def _variable(self, section: str, entry: Entry) -> doc.Variable:
        node = entry.value
        fields = Fields(node)
        bounds = self._range(fields.get("range"))
        states = _texts(node if isinstance(node, Sequence) else fields.get("states"))
        readable = self._is_readable(entry, fields) and not (fields.has("range") and bounds is None)
        readable = readable and not (states is None and (isinstance(node, Sequence) or fields.has("states")))
        starts_node = fields.get("starts")
        starts = _texts(starts_node) or ()
        starts_any = isinstance(starts_node, Scalar) and starts_node.value.lower() == "any"
        spanned = fields.get("range") or entry.key
        return doc.Variable(
            name=_text(entry.key), section=section, readable=readable, states=states, bounds=bounds, range_span=spanned.span,
            starts=() if starts_any else starts, starts_any=starts_any, unpowered=_first(fields.get("unpowered")),
            role=_first(fields.get("role")), given=fields.keys(),
            retained=TRUTHS.get(fields.text("retained").upper()), text=fields.text("text"), source=fields.text("source"),
        )  # fmt: skip

    def _is_readable(self, entry: Entry, fields: Fields) -> bool:
        node = entry.value
        if isinstance(node, Scalar):
            if not node.is_null and node.value.lower() != "bool":
                message = f"{quoted(node.value)} does not say what values {quoted(entry.key.value)} has"
                help_line = "write `bool`, a list of states such as `[shut, open]`, or `{range: 0..3}`"
                self._sink.report(Code.WRONG_FORM, node.span, message, help_line)
                return False
            return not node.is_null
        if fields.has("states") and fields.has("range"):
            message = f"{quoted(entry.key.value)} has both states and a range"
            self._sink.report(Code.WHICH_KIND, entry.key.span, message, "keep one of them")
            return False
        return True

    def _sensor(self, entry: Entry) -> doc.Sensor:
        fields = Fields(entry.value)
        node = fields.get("is") if isinstance(entry.value, Mapping) else _readable(entry.value)
        return doc.Sensor(name=_text(entry.key), formula=self._formula(node), text=fields.text("text"))

    def _timer(self, entry: Entry) -> doc.Timer:
        fields = Fields(entry.value)
        return doc.Timer(
            name=_text(entry.key),
            kind=fields.text("kind").upper(),
            input=self._formula(fields.get("in")),
            pt=self._duration(fields.get("pt")),
            text=fields.text("text"),
            source=fields.text("source"),
        )

    # --- rules ---
    def _effects(self, node: Node | None) -> tuple[doc.Effect, ...]:
        entries = node.entries if isinstance(node, Mapping) else ()
        read = ((entry.key, self._formula(_readable(entry.value))) for entry in entries)
        return tuple(doc.Effect(_text(key), formula or doc.Formula(None, "", key.span)) for key, formula in read)

    def _command(self, entry: Entry) -> doc.Command:
        fields = Fields(entry.value)
        return doc.Command(
            name=_text(entry.key),
            permissives=_each(fields, "permissives", self._permissive),
            then=self._effects(fields.get("then")),
        )

    def _permissive(self, entry: Entry) -> doc.Rule:
        fields = Fields(entry.value)
        node = fields.get("if") if isinstance(entry.value, Mapping) else _readable(entry.value)
        return doc.Rule(
            name=_text(entry.key), section="permissives", condition=self._formula(node), source=fields.text("source")
        )

    def _rule(self, section: str, entry: Entry) -> doc.Rule:
        fields = Fields(entry.value)
        signal = fields.get("sensor") or fields.get("output")
        value = fields.get("stuck")
        stuck = (_text(signal), _text(value)) if isinstance(signal, Scalar) and isinstance(value, Scalar) else None
        return doc.Rule(
            name=_text(entry.key),
            section=section,
            condition=self._formula(fields.get("if") or fields.get("when")),
            after=self._interval(fields.get("after")),
            stuck=stuck,
            stuck_is_sensor=fields.has("sensor"),
            then=self._effects(fields.get("then")),
            source=fields.text("source"),
        )

    # --- what is asked ---
    def _demand(self, entry: Entry) -> doc.Demand:
        fields = Fields(entry.value)
        read = ((key, self._formula(fields.get(key))) for key in _DEMAND_CONDITIONS)
        kind = next((key for key in _KINDS if fields.has(key)), "")
        commands = _texts(fields.get("only" if kind == "only" else "forbid")) or ()
        risk = Fields(fields.get("risk") or entry.key)
        graded = (risk.text("severity").upper(), risk.text("exposure").upper(), risk.text("avoidance").upper())
        return doc.Demand(
            id=_text(entry.key),
            kind=kind,
            text=fields.text("text"),
            conditions={key: formula for key, formula in read if formula is not None},
            commands=commands,
            within=self._duration(fields.get("within")),
            risk=graded if all(graded) else None,
            source=fields.text("source"),
        )

    def _procedure(self, entry: Entry) -> doc.Procedure:
        fields = Fields(entry.value)
        steps = fields.get("steps")
        after = fields.get("after")
        return doc.Procedure(
            name=_text(entry.key),
            steps=tuple(self._step(item) for item in (steps.items if isinstance(steps, Sequence) else ())),
            ends_with=self._formula(fields.get("ends with")),
            after=_text(after) if isinstance(after, Scalar) else None,
            source=fields.text("source"),
        )

    def _step(self, node: Node) -> doc.Step:
        if isinstance(node, Scalar):
            return doc.Step(span=node.span, name=None if node.is_null else _text(node))
        fields = Fields(node)
        panel = fields.get("set")
        entries = panel.entries if isinstance(panel, Mapping) else ()
        return doc.Step(
            span=node.span,
            wait=self._duration(fields.get("wait")),
            until=self._formula(fields.get("until")),
            panel=tuple((_text(e.key), _text(e.value)) for e in entries if isinstance(e.value, Scalar) and not e.value.is_null),
        )


def _text(node: Scalar) -> doc.Text:
    return doc.Text(node.value, node.span)


def _texts(node: Node | None) -> tuple[doc.Text, ...] | None:
    """Return the texts of a list, or the one text as a list; None if there is none."""
    if isinstance(node, Scalar):
        return None if node.is_null else (_text(node),)
    if not isinstance(node, Sequence):
        return None
    return tuple(_text(item) for item in node.items if isinstance(item, Scalar) and not item.is_null)


def _first(node: Node | None) -> doc.Text | None:
    return _text(node) if isinstance(node, Scalar) else None


def _readable(node: Node) -> Node | None:
    return None if isinstance(node, Scalar) and node.is_null else node


def _each(fields: Fields, key: str, build: Callable[[Entry], _T], *, but: str = "") -> tuple[_T, ...]:
    """Build something of every entry of the map under *key*, except what stands under the key *but*."""
    node = fields.get(key)
    entries = node.entries if isinstance(node, Mapping) else ()
    return tuple(build(entry) for entry in entries if not but or entry.key.value != but)
