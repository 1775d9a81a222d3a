"""Deep equality of plans: every field of every dataclass, every number of every array."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields, is_dataclass

import numpy as np


def difference(a: object, b: object, where: str = "plan") -> str | None:
    """The first place where two things differ, None when they are the same."""
    if is_dataclass(a) and type(a) is type(b):
        pairs = [(f".{f.name}", getattr(a, f.name), getattr(b, f.name)) for f in fields(a)]
    elif isinstance(a, np.ndarray) or isinstance(b, np.ndarray):
        same = isinstance(a, np.ndarray) and isinstance(b, np.ndarray) and a.dtype == b.dtype
        same = same and np.array_equal(a, b, equal_nan=a.dtype.kind == "f")
        return None if same else f"{where}: {a!r} != {b!r}"
    elif isinstance(a, Mapping) and isinstance(b, Mapping):
        if set(a) != set(b):
            return f"{where}: {sorted(map(str, a))} != {sorted(map(str, b))}"
        pairs = [(f"[{key}]", a[key], b[key]) for key in a]
    elif isinstance(a, tuple) and isinstance(b, tuple):
        if len(a) != len(b):
            return f"{where}: {len(a)} != {len(b)} items"
        pairs = [(f"[{i}]", x, y) for i, (x, y) in enumerate(zip(a, b, strict=True))]
    else:
        return None if a == b else f"{where}: {a!r} != {b!r}"
    return next((d for name, x, y in pairs if (d := difference(x, y, where + name))), None)
