"""A nest as one compact binary answer for the 3D view.

Layout: 4 bytes little-endian length of the header; the header, JSON in UTF-8, padded with blanks to a
multiple of four bytes; then the blocks it names, each `[offset, count]` in bytes behind the header and in
numbers: per part `vertices` (float32, x y z, part coordinates) and `faces` (uint32), per part `matrices`
(float32, 16 for each piece, column by column). Each part is sent once, however many pieces stand of it.
"""

from __future__ import annotations

import json
from collections import defaultdict
from typing import Any

import numpy as np

from cakewright.documents.words import trays
from cakewright.model.build import Build, Placement
from cakewright.model.plan import WeekPlan

MEDIA_TYPE = "application/octet-stream"


def scene_bytes(plan: WeekPlan, build: Build) -> bytes:
    """The scene of one build; see the module for the layout."""
    of_part: dict[str, list[Placement]] = defaultdict(list)
    for placed in build.nest.placements:
        of_part[placed.part_key].append(placed)
    blocks = _Blocks()
    parts = [_part(plan, key, placed, blocks) for key, placed in of_part.items()]
    chamber = plan.cell.chamber_type(build.chamber_type)
    letters = trays(build)
    header: dict[str, Any] = {
        "build": build.key,
        "layer_mm": build.profile.layer_mm,
        "layers": build.profile.layers,
        "height_mm": build.nest.height_mm,
        "chamber_mm": [chamber.x_mm, chamber.y_mm, chamber.usable_height_mm],
        "pinned": [p.piece for p in build.nest.placements if p.pinned],
        "cages": {cage: list(pieces) for cage, pieces in build.caged.items()},
        "lines": {str(n): {"title": plan.line(n).title, "tray": letters[n]} for n in letters},
        "parts": parts,
    }
    text = json.dumps(header, ensure_ascii=False).encode()
    text += b" " * (-len(text) % 4)
    return len(text).to_bytes(4, "little") + text + blocks.joined()


class _Blocks:
    def __init__(self) -> None:
        self._pieces: list[bytes] = []
        self._size = 0

    def add(self, array: np.ndarray) -> list[int]:
        """Append an array of four-byte numbers; its [offset, count]."""
        data = array.tobytes()
        place = [self._size, array.size]
        self._pieces.append(data)
        self._size += len(data)
        return place

    def joined(self) -> bytes:
        """All blocks in order."""
        return b"".join(self._pieces)


def _part(plan: WeekPlan, key: str, placed: list[Placement], blocks: _Blocks) -> dict[str, Any]:
    mesh = plan.parts[key].mesh
    matrices = np.stack([p.matrix.T for p in placed]).astype("<f4")  # transposed: column by column
    return {
        "key": key,
        "vertices": blocks.add(mesh.vertices.astype("<f4")),
        "faces": blocks.add(mesh.faces.astype("<u4")),
        "matrices": blocks.add(matrices),
        "pieces": [[p.piece, p.line, round(p.z_min_mm, 3), round(p.z_max_mm, 3)] for p in placed],
    }
