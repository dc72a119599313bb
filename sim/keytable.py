"""What keys does a file model know, and what may each hold?

The reference table that users read and the error messages are both made from the pydantic model, so that
neither can differ from what is checked.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass
from types import NoneType, UnionType
from typing import Annotated, Any, Literal, Union, get_args, get_origin

import annotated_types
from pydantic import BaseModel
from pydantic.fields import FieldInfo

_PLAIN = {float: "a number", int: "a whole number", str: "text", bool: "true or false"}


@dataclass(frozen=True)
class KeyRow:
    """One documented key of a file."""

    key: str  #: dotted, elements of arrays as ``[n]``
    allowed: str  #: type and range in words
    default: Any  #: None where the key is required
    required: bool
    meaning: str


def allowed_text(field: FieldInfo) -> str:
    """Return what a key may hold, in words: ``a number > 0 and <= 10``."""
    return _type_text(field.annotation, list(field.metadata))


def _type_text(annotation: Any, metadata: list[Any]) -> str:
    origin = get_origin(annotation)
    if origin is Annotated:
        inner, *more = get_args(annotation)
        for item in more:
            metadata = metadata + (list(item.metadata) if isinstance(item, FieldInfo) else [item])
        return _type_text(inner, metadata)
    if origin is Literal:
        words = ", ".join(json.dumps(word) for word in get_args(annotation))
        return f"one of {words}" if "," in words else words
    if origin in (Union, UnionType):
        kinds = [arg for arg in get_args(annotation) if arg is not NoneType]
        return " or ".join(dict.fromkeys(_type_text(kind, metadata) for kind in kinds))
    if origin is list:
        (inner,) = get_args(annotation)
        bounds = _range_text(metadata)
        return f"a list{' of' + bounds if bounds else ''}, each {_type_text(inner, [])}"
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return "a table"
    if annotation is str and metadata:
        return "text, not empty"
    return _PLAIN.get(annotation, "a value") + _range_text(metadata)


def _range_text(metadata: list[Any]) -> str:
    bounds = []
    for item in metadata:
        for kind, name, mark in (
            (annotated_types.Gt, "gt", ">"),
            (annotated_types.Ge, "ge", ">="),
            (annotated_types.Lt, "lt", "<"),
            (annotated_types.Le, "le", "<="),
        ):
            if isinstance(item, kind):
                bounds.append(f"{mark} {getattr(item, name):.10g}")
        if isinstance(item, annotated_types.MinLen):
            bounds.append(f"at least {item.min_length}")
    return (" " + " and ".join(bounds)) if bounds else ""


def submodels(annotation: Any) -> list[tuple[type[BaseModel], bool]]:
    """Return the tables that a key may hold, each with whether it is an element of an array."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return [(annotation, False)]
    origin = get_origin(annotation)
    if origin is Annotated:
        return submodels(get_args(annotation)[0])
    if origin in (Union, UnionType):
        return [found for arg in get_args(annotation) for found in submodels(arg)]
    if origin is list:
        return [(model, True) for model, _ in submodels(get_args(annotation)[0])]
    return []


def key_rows(model: type[BaseModel], prefix: str = "") -> Iterator[KeyRow]:
    """Yield every key of a file model, tables before their keys, in the order of the model.

    Keys that several kinds of one table share are given once for each kind.
    """
    for name, field in model.model_fields.items():
        key = f"{prefix}{name}"
        inner = submodels(field.annotation)
        for table, is_element in inner:
            yield from key_rows(table, f"{key}[n]." if is_element else f"{key}.")
        if not inner:
            default = None if field.is_required() else field.get_default(call_default_factory=True)
            yield KeyRow(key, allowed_text(field), default, field.is_required(), field.description or "")
