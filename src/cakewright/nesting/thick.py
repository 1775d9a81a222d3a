"""More room between thick parts: the skin of the parts named in the wishes is grown further."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from cakewright.model.build import PairGap, Placement
from cakewright.model.mesh import Mesh
from cakewright.nesting.bank import Bank, Words, pack
from cakewright.nesting.verify import tightest_pair
from cakewright.nesting.voxels import Grid, grid_near


def widened(bank: Bank, extra_mm: Mapping[str, float]) -> Bank:
    """The bank with the skins of the named parts grown by their extra clearance.

    A piece keeps the clearance plus the extra of whatever was placed before it, so two thick parts are
    always at least the smaller of their extras further apart, up to a voxel more.
    """
    extra = {bank.keys.index(k): v for k, v in extra_mm.items() if k in bank.keys and v > 0}
    if not extra:
        return bank
    more = int(np.ceil(max(extra.values()) / bank.voxel_mm - 1e-6)) + 1
    fat: list[Words] = []
    for part in range(len(bank.keys)):
        for pose in bank.poses_of(part):
            grid = np.pad(fat_grid(bank, pose), more)
            if part in extra:
                reach = extra[part] / bank.voxel_mm
                grid = grid_near(grid, int(np.ceil(reach)) + 1, reach**2)
            fat.append(pack(grid).reshape(-1))
    at = np.cumsum([0] + [len(words) for words in fat]).astype(np.int64)
    return replace(bank, pad=bank.pad + more, fat=np.concatenate(fat), fat_at=at)


def fat_grid(bank: Bank, pose: int) -> Grid:
    """The skin of a pose as cells, `bank.pad` cells wider on every side than its solid."""
    nx, ny, nz = (int(c) + 2 * bank.pad for c in bank.cells[pose])
    return _grid(bank.fat[bank.fat_at[pose] : bank.fat_at[pose + 1]], (nx, ny, nz))


def bare_grid(bank: Bank, pose: int) -> Grid:
    """The solid of a pose as cells."""
    nx, ny, nz = (int(c) for c in bank.cells[pose])
    return _grid(bank.bare[bank.bare_at[pose] : bank.bare_at[pose + 1]], (nx, ny, nz))


def _grid(words: Words, shape: tuple[int, int, int]) -> Grid:
    bits = np.unpackbits(words.astype("<u8").view(np.uint8).reshape(*shape[:2], -1), axis=2, bitorder="little")
    return np.ascontiguousarray(bits[:, :, : shape[2]])


def tightest_thick_pair(
    meshes: Mapping[str, Mesh], placements: Sequence[Placement], extra_mm: Mapping[str, float], reach_mm: float
) -> PairGap | None:
    """The two thick pieces nearest to each other, exactly; None when all are further apart than `reach_mm`."""
    thick = [p for p in placements if extra_mm.get(p.part_key, 0) > 0]
    return tightest_pair(meshes, thick, reach_mm) if len(thick) > 1 else None
