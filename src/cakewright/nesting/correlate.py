"""Overlap of an item with what is placed, at all positions at once, by Fourier transforms on CPU or GPU.

The number of cells that an item at position p shares with the occupied grid is the correlation of the two,
count[p] = sum over c of item[c] * occupied[p + c], so one product of transforms gives it everywhere. The
transform of the occupied grid is made once and shared by all orientations; those of the items are kept.

The same lines run on numpy arrays and on a GPU: everything that differs sits in `Arrays`. This file needs
numpy only (scipy makes it faster), so it can be tried on a machine that has little else.
"""

from __future__ import annotations

import importlib
from collections.abc import Callable, Hashable
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from cakewright.errors import InputError
from cakewright.sources.nesting_exact import FFT_ERROR, FFT_MARGIN

Grid = NDArray[np.uint8]
Counts = NDArray[np.int32]
Native = Any
"""An array of the chosen module; only handed around."""


@dataclass(frozen=True, eq=False)
class Arrays:
    """What is needed of an array module: bring, transform, transform back, round, fetch.

    `put(array)` takes a numpy float array to the device; `forward(native, shape)` is the real transform padded
    to `shape`, `back(native, shape)` its inverse; `is_zero(native)` marks what rounds to zero; `get(native)`
    fetches a numpy array; `round_off(native)` gives whole numbers. `wait()` returns when all work is done.
    """

    name: str
    put: Callable[[NDArray[Any]], Native]
    forward: Callable[[Native, tuple[int, int, int]], Native]
    back: Callable[[Native, tuple[int, int, int]], Native]
    round_off: Callable[[Native], Native]
    is_zero: Callable[[Native], Native]
    get: Callable[[Native], NDArray[Any]]
    wait: Callable[[], None] = lambda: None


def cpu_arrays(workers: int = -1) -> Arrays:
    """numpy arrays, transformed by scipy on `workers` threads (-1: all cores), by numpy where scipy is absent."""
    try:
        fft: Any = importlib.import_module("scipy.fft")
        more: dict[str, Any] = {"workers": workers}
        name = "cpu (scipy)"
    except ModuleNotFoundError:
        fft, more, name = np.fft, {}, "cpu (numpy)"
    return Arrays(
        name,
        put=lambda a: a,
        forward=lambda a, shape: fft.rfftn(a, s=shape, axes=(0, 1, 2), **more),
        back=lambda a, shape: fft.irfftn(a, s=shape, axes=(0, 1, 2), **more),
        round_off=lambda a: np.rint(a).astype(np.int32),
        is_zero=lambda a: np.abs(a) < 0.5,
        get=np.asarray,
    )


def cupy_arrays() -> Arrays:
    """CuPy on the first GPU. Raises ImportError or a CUDA error where there is none."""
    cp: Any = importlib.import_module("cupy")
    if cp.cuda.runtime.getDeviceCount() < 1:
        raise ImportError("no GPU")
    return Arrays(
        "gpu (cupy)",
        put=cp.asarray,
        forward=lambda a, shape: cp.fft.rfftn(a, s=shape, axes=(0, 1, 2)),
        back=lambda a, shape: cp.fft.irfftn(a, s=shape, axes=(0, 1, 2)),
        round_off=lambda a: cp.rint(a).astype(cp.int32),
        is_zero=lambda a: cp.abs(a) < 0.5,
        get=cp.asnumpy,
        wait=cp.cuda.Device().synchronize,
    )


def torch_arrays() -> Arrays:
    """PyTorch on the first GPU. Raises ImportError where there is none."""
    torch: Any = importlib.import_module("torch")
    if not torch.cuda.is_available():
        raise ImportError("no GPU")
    return Arrays(
        "gpu (torch)",
        put=lambda a: torch.as_tensor(np.ascontiguousarray(a), device="cuda"),
        forward=lambda a, shape: torch.fft.rfftn(a, s=shape, dim=(0, 1, 2)),
        back=lambda a, shape: torch.fft.irfftn(a, s=shape, dim=(0, 1, 2)),
        round_off=lambda a: torch.round(a).to(torch.int32),
        is_zero=lambda a: a.abs() < 0.5,
        get=lambda a: np.asarray(a.cpu().numpy()),
        wait=torch.cuda.synchronize,
    )


def pick_arrays(kind: Literal["auto", "cpu", "gpu"], *, workers: int = -1) -> Arrays:
    """The array module to compute with: "gpu" takes CuPy, else PyTorch; "auto" a GPU if there is one, else the CPU.

    Raises InputError for "gpu" where neither module finds a GPU.
    """
    if kind == "cpu":
        return cpu_arrays(workers)
    if kind not in ("auto", "gpu"):
        raise InputError(f"array module {kind!r}", remedy="use auto, cpu or gpu")
    missing = []
    for make in (cupy_arrays, torch_arrays):
        try:
            return make()
        except (ImportError, RuntimeError) as error:  # CUDA errors are RuntimeErrors in both modules
            missing.append(f"{make.__name__.removesuffix('_arrays')}: {error}")
    if kind == "auto":
        return cpu_arrays(workers)
    raise InputError(
        f"no GPU to compute on ({'; '.join(missing)})",
        remedy="install the extra 'gpu' on a machine with a CUDA GPU, or choose cpu",
    )


def good_length(least: int) -> int:
    """The smallest length not below `least` whose only prime factors are 2, 3 and 5: fast to transform."""
    length = max(1, least)
    while True:
        rest = length
        for factor in (2, 3, 5):
            while rest % factor == 0:
                rest //= factor
        if rest == 1:
            return length
        length += 1


def is_single_enough(shape: tuple[int, ...], item_cells: int, occupied_cells: int) -> bool:
    """True when single precision still rounds to the right whole number at every position.

    The error of a correlation by transforms grows as machine precision times the norms of the two arrays times
    the logarithm of the size; it has to stay well below one half. Constants: `sources.nesting_exact`.
    """
    norm = float(np.sqrt(item_cells) * np.sqrt(occupied_cells))
    size = float(np.log2(max(2.0, float(np.prod([float(s) for s in shape])))))
    return bool(FFT_ERROR.value * float(np.finfo(np.float32).eps) * norm * size < FFT_MARGIN.value)


class Occupied:
    """An occupied grid (nx, ny, nz) of 0/1, ready to be asked where items fit.

    `precision` "auto" computes in single precision as long as counts are sure to be right, else in double.
    Positions are those of the lowest corner of the item's grid; only positions wholly inside are answered.
    """

    def __init__(
        self, occupied: Grid, arrays: Arrays, *, precision: Literal["auto", "single", "double"] = "auto"
    ) -> None:
        self.arrays = arrays
        self.grid = occupied.shape
        nx, ny, nz = (good_length(n) for n in occupied.shape)
        self.shape = (nx, ny, nz)
        self.precision = precision
        self._host = np.ascontiguousarray(occupied != 0)
        self._cells = int(self._host.sum())
        self._spectra: dict[type[np.floating[Any]], Native] = {}
        self._items: dict[tuple[Hashable, type[np.floating[Any]]], Native] = {}

    def kind_for(self, item: Grid) -> type[np.floating[Any]]:
        """float32 or float64: what the counts of this item are computed in."""
        if self.precision != "auto":
            return np.float32 if self.precision == "single" else np.float64
        enough = is_single_enough(self.shape, int(np.count_nonzero(item)), self._cells)
        return np.float32 if enough else np.float64

    def _spectrum(self, kind: type[np.floating[Any]]) -> Native:
        if kind not in self._spectra:
            self._spectra[kind] = self.arrays.forward(self.arrays.put(self._host.astype(kind)), self.shape)
        return self._spectra[kind]

    def _item(self, item: Grid, key: Hashable | None, kind: type[np.floating[Any]]) -> Native:
        if key is not None and (key, kind) in self._items:
            return self._items[key, kind]
        spectrum = self.arrays.forward(self.arrays.put((item != 0).astype(kind)), self.shape).conj()
        if key is not None:
            self._items[key, kind] = spectrum
        return spectrum

    def _correlation(self, item: Grid, key: Hashable | None) -> Native:
        if any(i > g for i, g in zip(item.shape, self.grid, strict=True)):
            raise InputError(
                f"an item of {item.shape} cells in a space of {self.grid}", remedy="leave out items that do not fit"
            )
        kind = self.kind_for(item)
        full = self.arrays.back(self._spectrum(kind) * self._item(item, key, kind), self.shape)
        nx, ny, nz = (g - i + 1 for g, i in zip(self.grid, item.shape, strict=True))
        return full[:nx, :ny, :nz]

    def counts(self, item: Grid, *, key: Hashable | None = None) -> Counts:
        """Cells shared at every position, (nx - ix + 1, ny - iy + 1, nz - iz + 1) whole numbers.

        With `key` the transform of the item is kept and used again under that name.
        """
        return np.asarray(self.arrays.get(self.arrays.round_off(self._correlation(item, key))), dtype=np.int32)

    def lowest_free(self, item: Grid, *, key: Hashable | None = None) -> tuple[int, int, int] | None:
        """The lowest position that shares no cell, of those the first in x, then y; None when there is none.

        Only one bit a height and the layer found come back from the device.
        """
        free = self.arrays.is_zero(self._correlation(item, key))
        some = np.asarray(self.arrays.get(free.reshape(-1, free.shape[2]).any(0)))
        if not some.any():
            return None
        z = int(np.argmax(some))
        layer = np.asarray(self.arrays.get(free[:, :, z]))
        x, y = divmod(int(np.argmax(layer)), layer.shape[1])
        return x, y, z

    def take(self, occupied: Grid) -> None:
        """Look at another occupied grid of the same size; the items' transforms are kept."""
        if occupied.shape != self.grid:
            raise InputError(f"a grid of {occupied.shape} cells, expected {self.grid}", remedy="begin anew")
        self._host = np.ascontiguousarray(occupied != 0)
        self._cells = int(self._host.sum())
        self._spectra.clear()
