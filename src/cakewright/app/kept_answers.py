"""Answers that are kept beside the database until somebody accepts one: what is kept later is exactly what was shown.

They are written as Python objects. What an answer shares with the plan it was asked of (meshes, nests, heat) is named
in it, not copied. Reading makes only plain values and classes of this program, whatever stands in the file.
"""

from __future__ import annotations

import io
import pickle
from collections.abc import Iterator
from dataclasses import fields
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from cakewright.errors import InputError, StoreError
from cakewright.model.plan import WeekPlan

_PLAIN = {
    ("datetime", "date"), ("datetime", "datetime"), ("datetime", "time"), ("datetime", "timedelta"),
    ("datetime", "timezone"), ("decimal", "Decimal"), ("builtins", "set"), ("builtins", "frozenset"),
    ("numpy", "ndarray"), ("numpy", "dtype"), ("numpy.core.multiarray", "_reconstruct"),
    ("numpy._core.multiarray", "_reconstruct"), ("numpy.core.multiarray", "scalar"),
    ("numpy._core.multiarray", "scalar"), ("numpy.core.numeric", "_frombuffer"),
    ("numpy._core.numeric", "_frombuffer"),
}  # fmt: skip
_OURS = "cakewright."


def keep_answer(place: Path, answer: object, plan: WeekPlan | None = None) -> None:
    """Write an answer that was asked of `plan`: whole or not at all."""
    out = io.BytesIO()
    _Writer(out, {id(thing): name for name, thing in _shared(plan)}).dump(answer)
    half = place.with_suffix(".part")
    try:
        half.write_bytes(out.getvalue())
        half.replace(place)
    except OSError as wrong:
        raise StoreError(f"{place} cannot be written: {wrong.strerror}", remedy="free some space") from wrong


def read_answer(place: Path, plan: WeekPlan | None = None) -> Any:
    """The answer as it was shown; InputError when it is not kept any more or is of another version of the program."""
    try:
        return _Reader(io.BytesIO(place.read_bytes()), dict(_shared(plan))).load()
    except OSError as wrong:
        raise InputError("this answer is no longer at hand", remedy="ask again, then accept", where="draft") from wrong
    except (pickle.UnpicklingError, AttributeError, ImportError, TypeError, ValueError, EOFError, KeyError) as wrong:
        raise InputError("this answer cannot be read", remedy="ask again, then accept", where="draft") from wrong


def _shared(plan: WeekPlan | None) -> Iterator[tuple[str, Any]]:
    """Everything large of a plan, each with a name."""
    if plan is None:
        return
    yield "plan", plan
    for f in fields(plan):
        if f.name not in ("start", "seed", "version", "made_by"):
            yield f.name, getattr(plan, f.name)
    for build in plan.builds:
        yield build.key, build
        for f in fields(build):
            if not isinstance(value := getattr(build, f.name), str | int | float | tuple | None):
                yield f"{build.key}/{f.name}", value


class _Writer(pickle.Pickler):
    def __init__(self, out: io.BytesIO, names: dict[int, str]) -> None:
        super().__init__(out, protocol=5)
        self._names = names

    def persistent_id(self, thing: Any) -> tuple[str, str] | None:
        """The name of what need not be written."""
        if isinstance(thing, ZoneInfo):
            return "zone", thing.key
        name = self._names.get(id(thing))
        return None if name is None else ("plan", name)


class _Reader(pickle.Unpickler):
    def __init__(self, kept: io.BytesIO, things: dict[str, Any]) -> None:
        super().__init__(kept)
        self._things = things

    def persistent_load(self, named: Any) -> Any:
        """What a name stands for."""
        kind, name = named
        return ZoneInfo(name) if kind == "zone" else self._things[name]

    def find_class(self, module: str, name: str) -> Any:
        """Plain values and our own classes, nothing else."""
        found = super().find_class(module, name) if (module, name) in _PLAIN or module.startswith(_OURS) else None
        is_ours = isinstance(found, type) and found.__module__.startswith(_OURS)
        if not is_ours and (module, name) not in _PLAIN:
            raise pickle.UnpicklingError(f"{module}.{name} does not belong into an answer")
        return found
