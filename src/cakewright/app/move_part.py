"""Pieces of a nest moved by hand: where they would stand, and what would be wrong there. Asking changes nothing."""

from __future__ import annotations

import time
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from math import radians
from typing import Literal

import numpy as np

from cakewright.app.cages import contents, removal_with_cages
from cakewright.app.plan_build import nest_space
from cakewright.errors import InputError
from cakewright.model.build import Build, PairGap, Placement, Removal, Verification
from cakewright.model.mesh import FloatArray, Mesh
from cakewright.model.plan import WeekPlan
from cakewright.nesting.task import NestSpace
from cakewright.nesting.verify import verify_nest
from cakewright.parts.orient import is_allowed, turn_z
from cakewright.physics.buildtime import print_time
from cakewright.physics.layers import layer_profile
from cakewright.sources.nesting import GAP_TOLERANCE

MOST_MOVES = 2000
FARTHEST_MM = 1e4


@dataclass(frozen=True, slots=True)
class Turn:
    """A turn about an axis of the chamber through the middle of the piece, against the clock seen from its tip."""

    axis: Literal["x", "y", "z"]
    degrees: float


@dataclass(frozen=True, slots=True)
class Move:
    """Where one piece shall stand: turned by `turns` in order, then the lowest corner of its box at (x, y, z) mm.

    None keeps that coordinate of the middle of the piece; without anything the piece stays.
    """

    piece: str
    x_mm: float | None = None
    y_mm: float | None = None
    z_mm: float | None = None
    turns: tuple[Turn, ...] = ()


@dataclass(frozen=True, slots=True)
class Wrong:
    """One thing that is wrong: `kind` is near, wall, stuck or turn; `found_mm` against `asked_mm` where it is a length.

    `words` says it for a person. `other` is the other piece, '' without one.
    """

    kind: Literal["near", "wall", "stuck", "turn"]
    piece: str
    other: str
    found_mm: float | None
    asked_mm: float | None
    words: str


@dataclass(frozen=True, eq=False)
class MovedNest:
    """The nest after the moves, judged: `wrongs` must be empty before it can be kept."""

    placements: tuple[Placement, ...]
    moved: tuple[str, ...]
    wrongs: tuple[Wrong, ...]
    tightest: PairGap | None
    removal: Removal
    height_mm: float
    layers: int
    print_s: float
    seconds: float

    @property
    def is_good(self) -> bool:
        """True when it can be kept."""
        return not self.wrongs


def move_parts(plan: WeekPlan, build: Build, moves: Sequence[Move]) -> MovedNest:
    """Judge a nest with some pieces moved: exact distances, walls, allowed turns, the way out, height and print time.

    Only pairs near a moved piece are measured; all the others are as they were proven. InputError for a piece that is
    not there, stands in a cage, or is moved to nowhere.
    """
    began = time.monotonic()
    meshes = {key: plan.parts[key].mesh for key in {p.part_key for p in build.nest.placements}}
    placements, groups = moved_placements(build.nest.placements, meshes, moves)
    moved = tuple(groups)
    machine = plan.cell.machine(build.machine)
    space = nest_space(plan.cell.chamber_type(build.chamber_type), machine)
    check = verify_nest(meshes, placements, space, build.nest.clearance_mm, clock=time.monotonic, only=groups)
    way_out = removal_with_cages(meshes, placements, space, voxel_mm=build.nest.voxel_mm) if moved else build.removal
    height = max((p.z_max_mm for p in placements), default=0.0)
    tolerance = GAP_TOLERANCE.value
    fits = height <= space.height_mm + tolerance and min(p.z_min_mm for p in placements) >= -tolerance
    chamber = plan.cell.chamber_type(build.chamber_type)
    profile = layer_profile(meshes, placements, machine.layer_mm, height) if moved and fits else build.profile
    hours = (
        print_time(profile, machine, extra_layers_mm=chamber.base_mm + chamber.cover_mm) if moved else build.print_time
    )
    wrongs = (
        *_turned_wrongly(plan, placements, moved),
        *_through_walls(placements, meshes, check, space, groups),
        *_too_near(check, moved),
        *_newly_stuck(way_out, build.removal, check),
    )
    return MovedNest(
        placements, moved, wrongs, check.tightest, way_out, height, profile.layers, hours.total_s,
        time.monotonic() - began,
    )  # fmt: skip


def moved_placements(
    placements: Sequence[Placement], meshes: Mapping[str, Mesh], moves: Sequence[Move]
) -> tuple[tuple[Placement, ...], dict[str, int]]:
    """The placements after the moves, and the pieces that stand elsewhere; a cage takes its pieces along.

    Pieces with the same number moved as one.
    """
    if len(moves) > MOST_MOVES:
        raise InputError(f"{len(moves)} moves at once", remedy=f"move at most {MOST_MOVES}", where="moves")
    at = {p.piece: n for n, p in enumerate(placements)}
    inside = contents(placements, meshes)
    cage_of = {piece: cage for cage, pieces in inside.items() for piece in pieces}
    out = list(placements)
    moved: dict[str, int] = {}
    for number, move in enumerate(moves):
        if move.piece not in at:
            raise InputError(f"there is no piece {move.piece}", remedy="name a piece of this build", where="piece")
        if move.piece in cage_of:
            raise InputError(
                f"{move.piece} stands in the cage {cage_of[move.piece]}", remedy="move the cage", where="piece"
            )
        old = out[at[move.piece]]
        turn, shift = _motion(old, meshes[old.part_key], move)
        if np.allclose(turn, np.eye(3), atol=1e-12) and np.allclose(shift, 0.0, atol=1e-9):
            continue
        for name in (move.piece, *inside.get(move.piece, ())):
            out[at[name]] = _carried(out[at[name]], meshes, turn, shift)
            moved[name] = number
    return tuple(out), moved


def _motion(old: Placement, mesh: Mesh, move: Move) -> tuple[FloatArray, FloatArray]:
    """The rotation and shift in chamber coordinates that a move means for everything that goes along."""
    wanted = (move.x_mm, move.y_mm, move.z_mm)
    numbers = [*(v for v in wanted if v is not None), *(t.degrees for t in move.turns)]
    if not all(np.isfinite(v) and abs(v) <= FARTHEST_MM for v in numbers):
        raise InputError(f"{move.piece} is moved to nowhere", remedy="give lengths in mm", where="move")
    used = mesh.vertices[np.unique(mesh.faces)]
    stands = used @ np.asarray(old.rotation).T + np.asarray(old.translation)
    middle = (stands.min(axis=0) + stands.max(axis=0)) / 2
    turn = np.eye(3)
    for one in move.turns:
        turn = _about(one) @ turn
    turned = (stands - middle) @ turn.T + middle
    low, high = turned.min(axis=0), turned.max(axis=0)
    drift = middle - (low + high) / 2  # the box of a turned piece has its middle elsewhere: keep it where it was
    shift = np.array([drift[a] if v is None else v - low[a] for a, v in enumerate(wanted)])
    return turn, shift + middle - turn @ middle


def _about(turn: Turn) -> FloatArray:
    """A rotation about an axis; exact for quarter turns."""
    order = {"z": [0, 1, 2], "x": [2, 0, 1], "y": [1, 2, 0]}[turn.axis]
    return turn_z(radians(turn.degrees))[np.ix_(order, order)]


def _carried(p: Placement, meshes: Mapping[str, Mesh], turn: FloatArray, shift: FloatArray) -> Placement:
    rotation = turn @ np.asarray(p.rotation)
    u, _, v = np.linalg.svd(rotation)  # many small turns do not make it a crooked one
    rotation, translation = u @ v, turn @ np.asarray(p.translation) + shift
    mesh = meshes[p.part_key]
    z = mesh.vertices[np.unique(mesh.faces)] @ rotation[2] + translation[2]
    return replace(p, rotation=rotation, translation=translation, z_min_mm=float(z.min()), z_max_mm=float(z.max()))


# --- what is wrong, in words ----------------------------------------------------------------------------------------


def _turned_wrongly(plan: WeekPlan, placements: Iterable[Placement], moved: Sequence[str]) -> Iterable[Wrong]:
    for p in placements:
        if p.piece not in moved or p.is_cage:
            continue
        rule = plan.parts[p.part_key].orientation
        if not is_allowed(p.rotation, rule):
            yield Wrong("turn", p.piece, "", None, None, f"{p.piece} may not stand so: {rule.reason} ({rule.freedom}).")


def _too_near(check: Verification, moved: Sequence[str]) -> Iterable[Wrong]:
    asked = check.clearance_mm
    for pair in sorted(check.violations, key=lambda v: v.gap_mm):
        mine, other = (pair.first, pair.second) if pair.first in moved else (pair.second, pair.first)
        if pair.gap_mm > 0:
            lacks = asked - pair.gap_mm
            words = f"{mine} stands {pair.gap_mm:.2f} mm from {other}, {asked:g} mm asked: {lacks:.2f} mm more."
        else:
            words = f"{mine} touches or runs into {other}, {asked:g} mm asked: move one of them away."
        yield Wrong("near", mine, other, pair.gap_mm, asked, words)


def _through_walls(
    placements: Sequence[Placement],
    meshes: Mapping[str, Mesh],
    check: Verification,
    space: NestSpace,
    groups: Mapping[str, int],
) -> Iterable[Wrong]:
    """Which wall, and by how much; of what stands in a cage only the cage is told."""
    over = dict(check.outside)
    caged = {groups[p.piece] for p in placements if p.is_cage and p.piece in over}
    low, high = space.box_mm
    walls = [("the left wall", "the right wall"), ("the front wall", "the back wall"), ("the floor", "the ceiling")]
    for p in placements:
        if p.piece not in over or (groups[p.piece] in caged and not p.is_cage):
            continue
        mesh = meshes[p.part_key]
        stands = mesh.vertices[np.unique(mesh.faces)] @ np.asarray(p.rotation).T + np.asarray(p.translation)
        by = np.stack([low - stands.min(axis=0), stands.max(axis=0) - high])
        for axis, names in enumerate(walls):
            for side, name in enumerate(names):
                if by[side, axis] > GAP_TOLERANCE.value:
                    margin = f" (free margin {space.wall_margin_mm:g} mm)" if axis < 2 and space.wall_margin_mm else ""
                    words = f"{p.piece} crosses {name} by {by[side, axis]:.2f} mm{margin}: move it in."
                    yield Wrong("wall", p.piece, "", float(by[side, axis]), 0.0, words)


def _newly_stuck(way_out: Removal, before: Removal, check: Verification) -> Iterable[Wrong]:
    """Groups that were not stuck before; those that run into each other are not told twice."""
    known = {frozenset(group) for group in before.stuck}
    meet = [{v.first, v.second} for v in check.violations if v.gap_mm <= 0]
    for group in way_out.stuck:
        if frozenset(group) in known or any(pair <= set(group) for pair in meet):
            continue
        others = ", ".join(group[1:])
        held = f"{group[0]} and {others} hold each other" if others else f"{group[0]} has no way out of the cake"
        words = f"{held}: they cannot be taken apart by straight moves."
        yield Wrong("stuck", group[0], others, None, None, words)
