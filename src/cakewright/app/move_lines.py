"""After the batches are proposed: lines move to other builds or change places, as long as real nests and dates gain."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from cakewright.app.plan_build import Batch
from cakewright.nesting.distribute import improve_shares
from cakewright.nesting.task import NestPiece
from cakewright.stopping import Stop

Share = tuple[NestPiece, ...]


def move_lines(
    batches: Sequence[Batch], cost: Callable[[Sequence[Batch]], float], stop: Stop, seed: int
) -> tuple[list[Batch], float]:
    """Better batches by moving or swapping lines, with their cost; empty ones are dropped.

    `cost` judges a set of batches and is infinite when one of them does not nest. Lines of one material only.
    """
    shares, price = improve_shares(
        [_by_line(batch) for batch in batches],
        lambda place, share: True,
        lambda content: cost(_batches(batches, content)),
        stop,
        np.random.default_rng(seed),
    )
    return _batches(batches, shares), price


def _by_line(batch: Batch) -> list[Share]:
    return [tuple(p for p in batch.pieces if p.line == line) for line in batch.lines]


def _batches(old: Sequence[Batch], shares: Sequence[Sequence[Share]]) -> list[Batch]:
    """The batches with their new content; a line that came from elsewhere says so."""
    out = []
    for batch, content in zip(old, shares, strict=True):
        if not content:
            continue
        said = dict(batch.line_reasons)
        lines = sorted({p.line for share in content for p in share})
        reasons = tuple((n, said.get(n) or _moved(n, old)) for n in lines)
        out.append(replace(batch, pieces=tuple(p for share in content for p in share), line_reasons=reasons))
    return out


def _moved(line: int, old: Sequence[Batch]) -> str:
    homes = [b for b in old if line in b.lines]
    first = dict(homes[0].line_reasons).get(line, "") if homes else ""
    tail = f" (before: {first})" if first else ""
    return f"moved to this build because nests and dates come out better together{tail}"
