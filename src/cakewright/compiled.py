"""The one place where numba is named: a typed wrapper so that mypy sees the Python signature.

Kernels are plain functions over arrays and numbers; `cache=True` keeps the machine code beside the
source, so only the first run on a machine waits for the compiler.
"""

from collections.abc import Callable
from typing import Any, TypeVar, cast

import numba

F = TypeVar("F", bound=Callable[..., object])


def kernel(function: F) -> F:
    """Compile `function` at first call (nopython, cached, GIL released)."""
    return cast(F, numba.njit(cache=True, nogil=True)(function))


def bare_kernel(function: F) -> F:
    """Like `kernel`, for inner functions that are called with many arrays: counts no references, so makes no array.

    Handing ninety arrays to a kernel costs a microsecond of counting, more than most of these functions work.
    """
    bare = cast(Any, numba.njit)(cache=True, nogil=True, _nrt=False)  # an option that its types do not list
    return cast(F, bare(function))


def plain_kernel(function: F) -> F:
    """Like `kernel`, but division by zero gives inf or nan as in numpy; loops over arrays run several lanes wide."""
    return cast(F, numba.njit(cache=True, nogil=True, error_model="numpy")(function))
