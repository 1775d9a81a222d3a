"""Making a layout removable: whatever holds others is taken out and let down again from above."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from cakewright.nesting.bank import Bank, Ints
from cakewright.nesting.construct import Layout, Workspace
from cakewright.nesting.separable import Block, take_apart

ROUNDS = 4  # layouts seen so far need one; a stuck specimen may need a second


def blocks_of(layout: Layout, bank: Bank, chosen: Ints) -> list[Block]:
    """The chosen pieces as cells on the common lattice."""
    grids = {}
    out = []
    for i in chosen:
        p = int(layout.pose[i])
        if p not in grids:
            words = bank.bare[bank.bare_at[p] : bank.bare_at[p + 1]]
            nx, ny, nz = (int(c) for c in bank.cells[p])
            bits = np.unpackbits(words.astype("<u8").view(np.uint8).reshape(nx, ny, -1), axis=2, bitorder="little")
            grids[p] = np.ascontiguousarray(bits[:, :, :nz])
        x, y, z = (int(v) for v in layout.at[i])
        out.append(Block(grids[p], (x, y, z)))
    return out


def to_release(layout: Layout, bank: Bank, fixed: Sequence[Block] = ()) -> Ints:
    """Pieces that must be placed anew so that everything else, with what stands `fixed`, can be taken out."""
    chosen = layout.placed
    blocks = [*blocks_of(layout, bank, chosen), *fixed]
    _, stuck, _ = take_apart(blocks, (bank.grid[0], bank.grid[1], 0), release=True)
    out = {k for group in stuck for k in group}
    for k in sorted(out):
        if k >= len(chosen):  # a specimen stays: whoever reaches into its box goes
            out |= {n for n in range(len(chosen)) if _boxes_meet(blocks[n], blocks[k])}
    return np.array([chosen[k] for k in sorted(out) if k < len(chosen)], np.int64)


def _boxes_meet(a: Block, b: Block) -> bool:
    low = [max(p, q) for p, q in zip(a.at, b.at, strict=True)]
    high = [min(p + m, q + n) for p, m, q, n in zip(a.at, a.grid.shape, b.at, b.grid.shape, strict=True)]
    return all(i < j for i, j in zip(low, high, strict=True))


def is_removable(layout: Layout, bank: Bank, fixed: Sequence[Block] = ()) -> bool:
    """True when every piece has a way out, judged on cells."""
    blocks = [*blocks_of(layout, bank, layout.placed), *fixed]
    return not take_apart(blocks, (bank.grid[0], bank.grid[1], 0))[1]


def make_removable(work: Workspace, layout: Layout, fixed: Sequence[Block] = ()) -> Layout:
    """Take out the pieces that keep others from leaving and drop them in again from above.

    A piece that stands where it was dropped can be lifted straight out, and so can those below it afterwards;
    the result is taken apart again all the same, and what is still held is dropped once more. When a piece
    finds no place from which it could be lifted, all are let down anew; what even then finds none is left
    out: in the chamber it would be lost or broken.
    """
    free = _released(work, layout, fixed)
    if len(free.placed) == len(layout.placed):
        return free
    anew = dropped(work, layout.part, _largest_first(layout.placed, layout, work.bank))
    more = len(anew.placed) > len(free.placed) and is_removable(anew, work.bank, fixed)
    return anew if more else free


def _released(work: Workspace, layout: Layout, fixed: Sequence[Block]) -> Layout:
    """The layout with what holds others dropped in again; what finds no place is taken out."""
    bank = work.bank
    for _ in range(ROUNDS):
        out = to_release(layout, bank, fixed)
        if not len(out):
            return layout
        layout = layout.copy()
        layout.pose[out] = -1
        work.drop(layout, _largest_first(out, layout, bank))
    out = to_release(layout, bank, fixed)
    layout = layout.copy()
    layout.pose[out] = -1
    return layout


def dropped(work: Workspace, part: Ints, order: Ints) -> Layout:
    """A layout in which every piece can be lifted straight out: each is let down from above past all before it."""
    layout = Layout.empty(part)
    work.drop(layout, order)
    return layout


def _largest_first(out: Ints, layout: Layout, bank: Bank) -> Ints:
    return out[np.argsort(-bank.count[bank.first[layout.part[out]]], kind="stable")]
