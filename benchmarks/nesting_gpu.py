"""Overlap at all positions by transforms: CPU against GPU, and against the bit-packed search.

    python benchmarks/nesting_gpu.py --sizes 100x100x150 200x200x300 --turns 6 --seed 1

A cake is filled with blocks to about 40 % of its lower three quarters; then an item (a hollow ball, a quarter of the
width across) is asked for its lowest free place in several turns. Counts of CPU and GPU are asserted equal at every
position, and equal to plain counting at 200 random ones; places are asserted equal to those of the bit-packed search.
Columns: first = transform of the cake and of one item, product, inverse; again = one more turn with the item known.
Needs numpy only; scipy, CuPy or PyTorch, numba are used where they are, and named when absent.
"""

from __future__ import annotations

import argparse
import platform
import resource
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "src"))

from cakewright.nesting.correlate import Arrays, Occupied, cpu_arrays, cupy_arrays, torch_arrays

try:
    from cakewright.nesting.bank import pack, runs_of
    from cakewright.nesting.bits import SPARE_WORDS, lowest_place

    NO_BITS = ""
except ImportError as error:
    NO_BITS = f"bit-packed search not run: {error}"


def cake_of(size: tuple[int, int, int], rng: np.random.Generator) -> np.ndarray:
    """Blocks at random until 40 % of the lower three quarters are full."""
    grid = np.zeros(size, np.uint8)
    low = grid[:, :, : size[2] * 3 // 4]
    edge = max(2, min(size) // 12)
    while low.mean() < 0.4:
        a = rng.integers(edge // 2, 2 * edge, 3)
        at = [rng.integers(0, max(1, n - m)) for n, m in zip(low.shape, a, strict=True)]
        low[at[0] : at[0] + a[0], at[1] : at[1] + a[1], at[2] : at[2] + a[2]] = 1
    return grid


def ball(across: int) -> np.ndarray:
    """A hollow ball, a quarter of its radius thick, with one side cut off so that its turns differ."""
    c = np.arange(across) - (across - 1) / 2
    r = np.sqrt(c[:, None, None] ** 2 + c[None, :, None] ** 2 + c[None, None, :] ** 2) / (across / 2)
    grid = ((r <= 1) & (r >= 0.75)).astype(np.uint8)
    return np.ascontiguousarray(grid[: across * 3 // 4])


def turns_of(item: np.ndarray, count: int) -> list[np.ndarray]:
    """Different axis orders and mirrored directions of one item."""
    orders = [(0, 1, 2), (1, 0, 2), (2, 1, 0)]
    out = [np.ascontiguousarray(np.flip(item.transpose(o), 0 if k else ())) for k in (0, 1) for o in orders]
    return out[:count]


def timed(arrays: Arrays | None, work: Callable[[], Any]) -> tuple[float, Any]:
    """Seconds and answer, with the device finished before and after."""
    if arrays:
        arrays.wait()
    start = time.perf_counter()
    answer = work()
    if arrays:
        arrays.wait()
    return time.perf_counter() - start, answer


def device_megabytes(arrays: Arrays) -> float:
    """Memory the module holds on the GPU."""
    if "cupy" in arrays.name:
        import cupy

        return cupy.get_default_memory_pool().total_bytes() / 2**20
    if "torch" in arrays.name:
        import torch

        return torch.cuda.max_memory_reserved() / 2**20
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def by_bits(cake: np.ndarray, turns: list[np.ndarray]) -> list[tuple[float, Any]]:
    """Seconds and place of the bit-packed search for each turn."""
    tallest = max(t.shape[2] for t in turns)
    padded = np.zeros((*cake.shape[:2], (cake.shape[2] + tallest) // 64 * 64 + SPARE_WORDS * 64), np.uint8)
    padded[:, :, : cake.shape[2]] = cake
    taken = pack(padded)
    window = np.array([0, cake.shape[0], 0, cake.shape[1]], np.int64)
    out = []
    for turn in turns:
        runs = runs_of(turn)
        last = np.array([[c - t for c, t in zip(cake.shape, turn.shape, strict=True)]], np.int64)
        top = np.array([float(turn.shape[2])])

        def look(runs=runs, last=last, top=top) -> Any:
            at = np.array([0, len(runs)], np.int64)
            return lowest_place(taken, runs, at, last, top, 1.0, 0, 1, np.zeros(1, np.int64), window)

        look()  # compiled and warm
        seconds, found = timed(None, look)
        out.append((seconds, tuple(int(v) for v in found[1:]) if found[0] >= 0 else None))
    return out


def check_by_hand(cake: np.ndarray, item: np.ndarray, counts: np.ndarray, rng: np.random.Generator) -> None:
    for _ in range(200):
        p = [int(rng.integers(0, n)) for n in counts.shape]
        part = cake[tuple(slice(a, a + n) for a, n in zip(p, item.shape, strict=True))]
        assert int(counts[tuple(p)]) == int((part & item).sum()), f"counts differ at {p}"


def run(size: tuple[int, int, int], modules: list[Arrays], turns: int, repeats: int, seed: int) -> None:
    rng = np.random.default_rng(seed)
    cake = cake_of(size, rng)
    items = turns_of(ball(max(4, min(size) // 4)), turns)
    truth: list[np.ndarray] = []
    base = float("nan")
    bits = [] if NO_BITS else by_bits(cake, items)
    for arrays in modules:
        Occupied(cake, arrays).lowest_free(items[0])  # plans and kernels are ready
        seen = Occupied(cake, arrays)
        first, _ = timed(arrays, lambda s=seen: s.lowest_free(items[0], key=0))
        again = []
        for _ in range(repeats):
            for k, item in enumerate(items):
                seen.lowest_free(item, key=k)
            spent, _ = timed(arrays, lambda s=seen: [s.lowest_free(i, key=k) for k, i in enumerate(items)])
            again.append(spent / len(items))
        counts = [seen.counts(item, key=k) for k, item in enumerate(items)]
        places = [seen.lowest_free(item, key=k) for k, item in enumerate(items)]
        if not truth:
            truth, base = counts, min(again)
            check_by_hand(cake, items[0], counts[0], rng)
        for mine, other in zip(counts, truth, strict=True):
            assert (mine == other).all(), f"{arrays.name} and {modules[0].name} count differently"
        for place, (_, other) in zip(places, bits, strict=False):
            assert place == other, f"{arrays.name} places at {place}, the bit-packed search at {other}"
        kind = seen.kind_for(items[0]).__name__
        print(f"| {'x'.join(map(str, size))} | {'x'.join(map(str, items[0].shape))} | {arrays.name} | {kind} |"
              f" {1e3 * first:.1f} | {1e3 * min(again):.2f} | {base / min(again):.1f} |"
              f" {device_megabytes(arrays):.0f} | equal |", flush=True)  # fmt: skip
    if bits:
        each = sum(s for s, _ in bits) / len(bits)
        print(f"| {'x'.join(map(str, size))} | {'x'.join(map(str, items[0].shape))} | bit-packed, 1 core | bits |"
              f" - | {1e3 * each:.2f} | {base / each:.1f} | - | equal |", flush=True)  # fmt: skip


def main() -> None:
    ask = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ask.add_argument("--sizes", nargs="+", default=["50x50x75", "100x100x150", "200x200x300"])
    ask.add_argument("--turns", type=int, default=6, choices=range(1, 7))
    ask.add_argument("--repeats", type=int, default=3)
    ask.add_argument("--seed", type=int, default=1)
    ask.add_argument("--workers", type=int, default=-1, help="threads of the CPU transforms, -1: all cores")
    ask.add_argument("--need-gpu", action="store_true", help="fail when there is no GPU")
    a = ask.parse_args()
    modules = [cpu_arrays(a.workers)]
    for make in (cupy_arrays, torch_arrays):
        try:
            modules.append(make())
        except (ImportError, RuntimeError) as error:
            print(f"{make.__name__}: not run: {error}")
    if NO_BITS:
        print(NO_BITS)
    if a.need_gpu and len(modules) == 1:
        sys.exit("no GPU module could be used")
    print(f"Python {platform.python_version()}, numpy {np.__version__}, seed {a.seed}, {a.turns} turns,"
          f" best of {a.repeats}")  # fmt: skip
    print("| cake cells | item cells | with | numbers | first ms | again ms a turn | x CPU | MB | counts |")
    print("|---|---|---|---|---|---|---|---|---|")
    for text in a.sizes:
        x, y, z = (int(v) for v in text.split("x"))
        run((x, y, z), modules, a.turns, a.repeats, a.seed)


if __name__ == "__main__":
    main()
