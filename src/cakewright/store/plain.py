"""Dataclasses as JSON and back: how a cell is kept beside the plan that was made for it."""

from __future__ import annotations

import json
import types
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from datetime import date, datetime, time
from decimal import Decimal
from typing import Any, TypeVar, Union, get_args, get_origin, get_type_hints

from cakewright.errors import StoreError

T = TypeVar("T")


def to_json(thing: object) -> str:
    """JSON text of a frozen dataclass made of dataclasses, tuples, dates, times, texts and numbers."""
    return json.dumps(_plain(thing), ensure_ascii=False, indent=1)


def from_json(kind: type[T], text: str) -> T:
    """The dataclass of that `kind`; fields the text lacks take their default. StoreError when it cannot be."""
    try:
        made = _build(kind, json.loads(text))
    except (json.JSONDecodeError, TypeError, KeyError, ValueError) as wrong:
        raise StoreError(f"stored {kind.__name__} cannot be read ({wrong})", remedy="restore a backup") from wrong
    assert isinstance(made, kind)
    return made


def _plain(thing: object) -> object:
    if is_dataclass(thing) and not isinstance(thing, type):
        return {f.name: _plain(getattr(thing, f.name)) for f in fields(thing)}
    if isinstance(thing, Mapping):
        return {str(k): _plain(v) for k, v in thing.items()}
    if isinstance(thing, tuple | list):
        return [_plain(item) for item in thing]
    if isinstance(thing, date | time):
        return thing.isoformat()
    if isinstance(thing, Decimal):
        return str(thing)
    if thing is None or isinstance(thing, str | int | float | bool):
        return thing
    raise StoreError(f"cannot keep a {type(thing).__name__} as text")


def _build(kind: Any, plain: Any) -> Any:
    if plain is None:
        return None
    origin, inside = get_origin(kind), get_args(kind)
    if origin in (Union, types.UnionType):
        return _build(next(k for k in inside if k is not type(None)), plain)
    if origin is tuple:
        if len(inside) == 2 and inside[1] is Ellipsis:
            return tuple(_build(inside[0], item) for item in plain)
        return tuple(_build(k, item) for k, item in zip(inside, plain, strict=True))
    if is_dataclass(kind) and isinstance(kind, type):
        hints = get_type_hints(kind)
        return kind(**{name: _build(hints[name], value) for name, value in plain.items() if name in hints})
    if kind in (date, datetime, time):
        return kind.fromisoformat(plain)
    if origin in (dict, Mapping):
        return {k: _build(inside[1], v) for k, v in plain.items()}
    return kind(plain)
