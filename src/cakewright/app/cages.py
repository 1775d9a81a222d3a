"""Lines of small loose pieces are printed inside cages: filled, nested as one block, opened again in the build."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from cakewright.app.line_flags import wants_cage
from cakewright.errors import CakewrightError, InputError
from cakewright.model.build import CAGE, Build, LeftOut, Nest, Placement, Removal
from cakewright.model.cell import Cell
from cakewright.model.mesh import FloatArray, Mesh
from cakewright.model.order import OrderLine
from cakewright.model.part import FileOrigin, Part
from cakewright.nesting.cage import FilledCage, block_of_cage, fill_cage
from cakewright.nesting.separable import removal
from cakewright.nesting.task import NestPiece, NestSpace, NestTask
from cakewright.parts.measure import measure
from cakewright.parts.smallest_box import smallest_box
from cakewright.sources.identity import CAGE_LARGEST, CAGE_MOST
from cakewright.units import LengthUnit

UPRIGHT = np.array([np.eye(3), [[0.0, -1.0, 0.0], [1.0, 0.0, 0.0], [0.0, 0.0, 1.0]]])  # the lid stays on top


def caged_lines(
    lines: Sequence[OrderLine], parts: Mapping[str, Part], part_of_line: Mapping[int, str], cell: Cell
) -> frozenset[int]:
    """Lines printed in cages: flagged 'cage', or with pieces shorter than the cell's `cage_below_mm`."""
    below = cell.nesting.cage_below_mm
    return frozenset(
        line.line for line in lines if wants_cage(line) or max(parts[part_of_line[line.line]].measures.size_mm) < below
    )


@dataclass(eq=False)
class Cages:
    """The cages of a plan: each filling is worked out once, and each cage that stands in a build is a part."""

    parts: dict[str, Part] = field(default_factory=dict)
    _known: dict[tuple[object, ...], tuple[FilledCage, ...] | str] = field(default_factory=dict)

    def put(
        self,
        pieces: Sequence[NestPiece],
        caged: frozenset[int],
        parts: Mapping[str, Part],
        rotations: Mapping[str, FloatArray],
        cell: Cell,
        space: NestSpace,
    ) -> Crates:
        """The pieces with those of caged lines replaced by their cages; lines that cannot be caged stay loose."""
        loose = [p for p in pieces if p.line not in caged]
        filled: dict[str, FilledCage] = {}
        notes: list[str] = []
        for key in dict.fromkeys(p.part_key for p in pieces if p.line in caged):
            mine = [p for p in pieces if p.part_key == key]
            found = self._fill(key, len(mine), parts[key].mesh, rotations[key], cell, space)
            if isinstance(found, str):
                notes.append(f"line {mine[0].line} is not in a cage: {found}")
                loose += mine
                continue
            at = 0
            for cage in found:
                inside = mine[at : at + len(cage.pieces)]
                at += len(inside)
                name = f"{key}{CAGE}{inside[0].piece.rsplit('-', 1)[-1]}"
                named = tuple(
                    replace(p, piece=q.piece, part_key=key, line=q.line)
                    for p, q in zip(cage.pieces, inside, strict=True)
                )
                filled[name] = replace(cage, pieces=named)
                notes.append(_told(name, filled[name], parts[key]))
                loose.append(NestPiece(name, name, inside[0].line, inside[0].priority))
        return Crates(tuple(loose), filled, tuple(notes))

    def _fill(
        self, key: str, count: int, mesh: Mesh, rotations: FloatArray, cell: Cell, space: NestSpace
    ) -> tuple[FilledCage, ...] | str:
        rules = cell.nesting
        most = tuple(min(CAGE_LARGEST.value, v) for v in (*space.inner_mm, space.height_mm))
        known = (mesh.sha256, count, rules.clearance_mm, rules.voxel_mm, most)
        if known not in self._known:
            try:
                self._known[known] = _fillings(key, count, mesh, rotations, cell, most)
            except CakewrightError as wrong:
                self._known[known] = wrong.found
        return self._known[known]

    def trial(self) -> Cages:
        """Cages for a nest that may be thrown away: it must not change those that stand in other builds."""
        return Cages({}, self._known)

    def standing(self, builds: Iterable[Build]) -> dict[str, Part]:
        """The cages that stand in some build, by part key."""
        keys = {p.part_key for b in builds for p in b.nest.placements if p.is_cage}
        return {key: part for key, part in self.parts.items() if key in keys}

    def take(self, other: Cages) -> None:
        """What was worked out elsewhere: fillings, and the cages that stand in builds there."""
        self.parts.update(other.parts)
        self._known.update(other._known)

    def keep(self, placed: Nest, crates: Crates) -> None:
        """Remember the cages that stand in a build as parts."""
        for p in placed.placements:
            if p.piece in crates.filled:
                self.parts[p.part_key] = _cage_part(p.part_key, crates.filled[p.piece])


@dataclass(frozen=True, eq=False)
class Crates:
    """What is really nested: loose pieces and filled cages."""

    pieces: tuple[NestPiece, ...]
    filled: Mapping[str, FilledCage]
    notes: tuple[str, ...]

    def meshes(self) -> dict[str, Mesh]:
        """The outer boxes of the cages, nested in their place."""
        return {name: block_of_cage(cage.size_mm) for name, cage in self.filled.items()}

    def rotations(self) -> dict[str, FloatArray]:
        """Cages stand upright."""
        return dict.fromkeys(self.filled, UPRIGHT)

    def opened(self, placed: Nest, meshes: Mapping[str, Mesh]) -> Nest:
        """The nest with the pieces where they stand inside their cages."""
        placements: list[Placement] = []
        for p in placed.placements:
            placements.append(p)
            if p.piece in self.filled:
                placements += self.filled[p.piece].placed(p, meshes)
        left = [*_opened_out(placed.left_out, self.filled)]
        return replace(placed, placements=tuple(placements), left_out=tuple(left), notes=(*placed.notes, *self.notes))


def _opened_out(left_out: Iterable[LeftOut], filled: Mapping[str, FilledCage]) -> Iterable[LeftOut]:
    for left in left_out:
        if left.piece in filled:
            yield from (LeftOut(p.piece, p.line, left.reason) for p in filled[left.piece].pieces)
        else:
            yield left


def _fillings(
    key: str, count: int, mesh: Mesh, rotations: FloatArray, cell: Cell, most_mm: Sequence[float]
) -> tuple[FilledCage, ...]:
    """As few equal cages as hold all pieces."""
    box = smallest_box(mesh)
    last: CakewrightError | None = None
    first = -(-count // int(CAGE_MOST.value))
    for cages in dict.fromkeys((first, 2 * first, 4 * first)):
        sizes = [count // cages + (n < count % cages) for n in range(cages)]
        if 0 in sizes:
            break
        try:
            return tuple(_one(key, size, mesh, rotations, cell, box, most_mm) for size in sizes)
        except InputError:
            raise
        except CakewrightError as wrong:
            last = wrong
    raise last or InputError(f"{count} pieces fit into no cage", remedy="nest them loose")


def _one(
    key: str, count: int, mesh: Mesh, rotations: FloatArray, cell: Cell, box: Sequence[float], most: Sequence[float]
) -> FilledCage:
    rules = cell.nesting
    pieces = [NestPiece(str(n), key, 0) for n in range(count)]
    task = NestTask({key: mesh}, pieces, {key: rotations}, NestSpace(1, 1, 1), rules.clearance_mm, rules.voxel_mm)
    return fill_cage(task, [box], most, seed=rules.seed)


def _told(name: str, cage: FilledCage, part: Part) -> str:
    """'L08-cage-01: 40 pieces, 15 cm³ of bars around 22 cm³ of parts'."""
    bars = measure(cage.mesh).volume_cm3
    inside = len(cage.pieces) * part.measures.volume_cm3
    return f"{name}: {len(cage.pieces)} pieces, {bars:.0f} cm³ of bars around {inside:.0f} cm³ of parts"


def _cage_part(key: str, cage: FilledCage) -> Part:
    mesh = cage.mesh
    origin = FileOrigin("made by the plan", mesh.sha256, "cage", LengthUnit.MILLIMETER, "made in mm")
    return Part(key, f"cage with {len(cage.pieces)} pieces", "", mesh, measure(mesh), origin)


def contents(placements: Sequence[Placement], meshes: Mapping[str, Mesh]) -> dict[str, tuple[str, ...]]:
    """Which pieces stand in which cage."""
    out: dict[str, tuple[str, ...]] = {}
    for cage in placements:
        if not cage.is_cage:
            continue
        low, high = meshes[cage.part_key].box_mm
        inside = []
        for p in placements:
            if p.is_cage or p.line != cage.line:
                continue
            middle = p.rotation @ meshes[p.part_key].box_mm.mean(axis=0) + p.translation
            local = (middle - cage.translation) @ cage.rotation
            if (local > low).all() and (local < high).all():
                inside.append(p.piece)
        out[cage.piece] = tuple(inside)
    return out


def removal_with_cages(
    meshes: Mapping[str, Mesh], placements: Sequence[Placement], space: NestSpace, *, voxel_mm: float
) -> Removal:
    """The way out with each filled cage lifted as one block; its pieces follow it in the order."""
    inside = contents(placements, meshes)
    if not inside:
        return removal(meshes, placements, space, voxel_mm=voxel_mm)
    caged = {piece for pieces in inside.values() for piece in pieces}
    blocks = {
        p.part_key: block_of_cage(meshes[p.part_key].size_mm).placed(np.eye(3), meshes[p.part_key].box_mm[0])
        for p in placements
        if p.is_cage
    }
    outer = [p for p in placements if p.piece not in caged]
    way = removal({**meshes, **blocks}, outer, space, voxel_mm=voxel_mm)

    def opened(names: Iterable[str]) -> tuple[str, ...]:
        return tuple(n for name in names for n in (name, *inside.get(name, ())))

    return Removal(opened(way.order), tuple(opened(group) for group in way.stuck), way.hooked)
