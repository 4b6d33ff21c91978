"""Turns the shape of `sections` into a JSON Schema (2020-12) that editors complete and check with.

The schema sees YAML as data: `TRUE` is a boolean there and `0` a number, so an expression may be any of the three. What
needs names, types or the tick is the checker's alone.
"""

from collections.abc import Mapping, Sequence
from typing import TypeAlias

from seqcheck.syntax.durations import DURATION_PATTERN, INTERVAL_PATTERN
from seqcheck.syntax.forms import Form, Keyed, Leaf, Listing, Named, Single
from seqcheck.syntax.sections import FILE
from seqcheck.syntax.words import IDENTIFIER_PATTERN, LONGEST_NAME

Json: TypeAlias = bool | int | str | Sequence["Json"] | Mapping[str, "Json"]

_SCALARS = ("string", "integer", "boolean")
_LEAVES: Mapping[Leaf, Mapping[str, Json]] = {
    Leaf.TEXT: {"type": ["string", "number", "boolean"]},
    Leaf.EXPRESSION: {"type": list(_SCALARS), "description": "An expression in Structured Text (IEC 61131-3)."},
    Leaf.DURATION: {"type": "string", "pattern": DURATION_PATTERN},
    Leaf.INTERVAL: {"type": "string", "pattern": INTERVAL_PATTERN},
    Leaf.RANGE: {"type": "string", "pattern": r"^ *[+-]?[0-9][0-9_]* *\.\. *[+-]?[0-9][0-9_]* *$"},
    Leaf.VALUE: {"type": list(_SCALARS)},
    Leaf.STATE: {"type": ["string", "boolean"], "pattern": IDENTIFIER_PATTERN},
    Leaf.BOOL: {"type": "string", "pattern": "^[Bb][Oo][Oo][Ll]$"},
    Leaf.TRUTH: {"enum": [True, False, "TRUE", "FALSE"]},
    Leaf.REFERENCE: {"type": ["string", "number", "boolean"]},
}


def schema() -> dict[str, Json]:
    """Return the JSON Schema of a sequence file as plain data."""
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "Operating sequence",
        "description": "A machine, its controller, its people and its hazards.",
        **_map_with_keys(FILE),
        "$defs": {_definition_name(leaf): definition for leaf, definition in _LEAVES.items()},
    }


def _definition_name(leaf: Leaf) -> str:
    return leaf.name.lower()


def _of(form: Form) -> dict[str, Json]:
    if isinstance(form, Single):
        return _text(form)
    if isinstance(form, Listing):
        least = 0 if form.may_be_empty else 1
        return {"type": "array", "items": _of(form.item), "minItems": least, "examples": [form.example]}
    if isinstance(form, Keyed):
        return _map_with_keys(form)
    if isinstance(form, Named):
        return _map_with_names(form)
    return {"anyOf": [_of(one) for one in form.forms]}


def _text(form: Single) -> dict[str, Json]:
    if form.leaf is Leaf.CHOICE:
        return {"type": "string", "enum": list(form.choices)}
    return {"$ref": f"#/$defs/{_definition_name(form.leaf)}"}


def _map_with_keys(form: Keyed) -> dict[str, Json]:
    properties: dict[str, Json] = {key.name: {"description": key.about, **_of(key.form)} for key in form.keys}
    return {
        "type": "object",
        "properties": properties,
        "required": [key.name for key in form.keys if key.required],
        "additionalProperties": False,
    }


def _map_with_names(form: Named) -> dict[str, Json]:
    names: dict[str, Json] = {"minLength": 1, "maxLength": LONGEST_NAME}
    if form.identifiers:
        names["pattern"] = IDENTIFIER_PATTERN
    reserved: dict[str, Json] = {key.name: {"description": key.about, **_of(key.form)} for key in form.reserved}
    return {
        "type": ["object", "null"] if form.may_be_empty else "object",
        "propertyNames": names,
        **({"properties": reserved} if reserved else {}),
        "additionalProperties": _of(form.entry),
        "minProperties": 0 if form.may_be_empty else 1,
    }
