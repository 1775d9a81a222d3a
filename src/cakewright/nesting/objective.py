"""What a layout is worth under the wishes of a planner, wish by wish, so that a person can see why.

Everything here is computed from boxes and cells: quick enough to be asked for every move of a search.
Areas and volumes are those of the cells, scaled to the true volume of the part.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from cakewright.model.mesh import FloatArray
from cakewright.nesting.bank import Bank, Ints
from cakewright.nesting.construct import Layout
from cakewright.nesting.task import NestTask
from cakewright.nesting.thick import bare_grid
from cakewright.nesting.wishes import NestWishes, height_price
from cakewright.sources.physics import CROWDED
from cakewright.sources.wishes import FRAGILE_REACH, SAMPLES, ZONE
from cakewright.units import MM3_PER_CM3

MM2_PER_CM2 = 100.0
SMALL = 0.05  # of any unit: a wish that far from fulfilled is fulfilled, and less is not written


@dataclass(frozen=True, slots=True)
class Term:
    """One wish: how far it is from fulfilled, in its unit (0 is perfect), and what a unit is worth in points."""

    name: str
    words: str
    value: float
    unit: str
    weight: float

    @property
    def price(self) -> float:
        """Points."""
        return self.value * self.weight


@dataclass(frozen=True, eq=False)
class Stand:
    """Where pieces stand, mm: numbers `piece` (m,), poses (m,), lowest corner of the cells (m, 3), tops (n,) of all."""

    piece: Ints
    pose: Ints
    corner_mm: FloatArray
    tops_mm: FloatArray


@dataclass(frozen=True, eq=False)
class _Pose:
    """What the objective needs of a pose: mm² in each cell layer, centre and sample points in mm from its corner."""

    area_mm2: FloatArray
    centre_mm: FloatArray
    samples_mm: FloatArray


class Objective:
    """The wishes of a task over the layouts of a bank."""

    def __init__(self, task: NestTask, bank: Bank, part: Ints, volume_mm3: Mapping[str, float]) -> None:
        self.task, self.bank, self.part = task, bank, part
        self.wishes = task.wishes or NestWishes()
        self.volume = np.array([volume_mm3[bank.keys[p]] for p in part]) / MM3_PER_CM3
        self.fragile = np.array([bank.keys[p] in self.wishes.fragile for p in part], bool)
        self.priority = np.array([p.priority for p in task.pieces], np.float64)
        lines = sorted({p.line for p in task.pieces})
        self.line = np.array([lines.index(p.line) for p in task.pieces], np.int64)
        self.groups = [
            np.array([i for i, p in enumerate(task.pieces) if p.line in group], np.int64) for group in self.wishes.apart
        ]
        self.concerned = np.unique(
            np.concatenate([np.flatnonzero(self.fragile), np.flatnonzero(self.priority > 0), *self.groups])
        ).astype(np.int64)
        self._volume_mm3 = volume_mm3
        self._poses: dict[int, _Pose] = {}

    def price(self, layout: Layout) -> float:
        """Points of everything but what only a full check can tell; lower is better."""
        return sum(term.price for term in self.terms(layout))

    def terms(self, layout: Layout) -> tuple[Term, ...]:
        """The wishes that can be told from boxes and cells, most important first."""
        placed = layout.placed
        corner: FloatArray = (layout.at[placed] * self.bank.voxel_mm).astype(np.float64)
        return self.terms_of(Stand(placed, layout.pose[placed], corner, layout.tops_mm(self.bank)))

    def terms_of(self, stand: Stand) -> tuple[Term, ...]:
        """As `terms`, for pieces that stand anywhere and not on the lattice."""
        w, wishes, placed, at = self.wishes.weights, self.wishes, stand.piece, stand.corner_mm
        size: FloatArray = (self.bank.cells[stand.pose] * self.bank.voxel_mm).astype(np.float64)
        poses = [self._pose(int(p)) for p in stand.pose]
        centre = self._centres(stand)
        height = float(stand.tops_mm.max(initial=0.0))
        jump = wishes.area_jump * self.task.space.x_mm * self.task.space.y_mm / MM2_PER_CM2
        return (
            Term("height", "build height", height, "mm", w.height),
            Term("end", "hours at which it ends", height_price(height, wishes.windows), "points", w.end),
            Term("evenness", "even area", self._jumps(at[:, 2], poses, jump), "cm²", w.evenness),
            Term("crowding", "no crowded zones", self._crowding(at, placed, poses, height), "cm³", w.crowding),
            Term("early", "must-have pieces low", self._early(stand.tops_mm), "mm", w.early),
            Term("fragile", "nothing heavy over fragile", self._heavy(at, size, placed), "cm³", w.fragile),
            Term("together", "lines kept together", self._spread(centre, placed), "mm", w.together * wishes.together),
            Term("apart", "look-alikes apart", self._near(at, size, placed), "mm", w.apart),
            Term("density", "cake that is not part", self._empty(placed, height), "%", w.density),
        )

    def _centres(self, stand: Stand) -> FloatArray:
        """(m, 3) mm: the middle of the cells of each piece."""
        centres: FloatArray = np.array([self._pose(int(p)).centre_mm for p in stand.pose]).reshape(-1, 3)
        return stand.corner_mm + centres

    def pulls(self, stand: Stand) -> FloatArray:
        """(m, 3) points for each mm that a piece goes along an axis: must-have pieces down, lines to their middles.

        Only the wishes that change evenly with every place are in it; at the middle of a line there is no slope.
        """
        w, placed = self.wishes.weights, stand.piece
        slope = np.zeros((len(placed), 3))
        if not len(placed):
            return slope
        wanted = self.priority.sum()
        if wanted > 0:
            slope[:, 2] += w.early * self.priority[placed] / wanted
        centre, line = self._centres(stand), self.line[placed]
        away = centre - _means(centre, line)[line]
        away /= np.maximum(np.linalg.norm(away, axis=1, keepdims=True), 1e-9)
        return np.asarray(slope + w.together * self.wishes.together * (away - _means(away, line)[line]) / len(placed))

    def _pose(self, pose: int) -> _Pose:
        if pose not in self._poses:
            bank = self.bank
            grid = bare_grid(bank, pose)
            cells = np.argwhere(grid)
            key = bank.keys[int(np.searchsorted(bank.first, pose, side="right")) - 1]
            per_cell = self._volume_mm3[key] / max(1, len(cells))
            count = int(SAMPLES.value)
            chosen = cells[np.linspace(0, len(cells) - 1, count).astype(int)]
            self._poses[pose] = _Pose(
                np.asarray(grid.sum(axis=(0, 1)) * per_cell / bank.voxel_mm, dtype=np.float64),
                (cells.mean(axis=0) + 0.5) * bank.voxel_mm,
                (chosen + 0.5) * bank.voxel_mm,
            )
        return self._poses[pose]

    def _jumps(self, low_mm: FloatArray, poses: Sequence[_Pose], limit_cm2: float) -> float:
        """cm² by which the area changes beyond the limit from one cell layer to the next, added up.

        A piece that begins within a layer counts in it, and in the one after its last, by its share.
        """
        low = np.maximum(low_mm / self.bank.voxel_mm, 0.0)  # a part on the floor may have half a cell of air below
        first = np.floor(low + 1e-9).astype(np.int64)
        into = np.where(low - first > 1e-9, low - first, 0.0)
        tall = max((int(z) + len(p.area_mm2) + 1 for z, p in zip(first, poses, strict=True)), default=0)
        area = np.zeros(tall)
        for z, part, pose in zip(first, into, poses, strict=True):
            end = z + len(pose.area_mm2)
            area[z:end] += (1.0 - part) * pose.area_mm2
            if part > 0:
                area[z + 1 : end + 1] += part * pose.area_mm2
        change = np.abs(np.diff(area, prepend=0.0, append=0.0)) / MM2_PER_CM2
        return float(np.maximum(change - limit_cm2, 0.0).sum())

    def _crowding(self, at: FloatArray, placed: Ints, poses: Sequence[_Pose], height: float) -> float:
        """cm³ in zones beyond `physics.crowded_zone` times the mean share of plastic."""
        if not len(placed) or height <= 0:
            return 0.0
        room = np.array([*self.task.space.inner_mm, height])
        count = np.maximum(1, np.round(room / ZONE.value)).astype(int)
        points = at[:, None, :] + np.array([p.samples_mm for p in poses])
        zone = np.clip((points / room * count).astype(int), 0, count - 1)
        number = (zone[..., 0] * count[1] + zone[..., 1]) * count[2] + zone[..., 2]
        weight = np.repeat(self.volume[placed] / points.shape[1], points.shape[1])
        inside = np.bincount(number.reshape(-1), weight, minlength=int(count.prod()))
        return float(np.maximum(inside - CROWDED.value * inside.mean(), 0.0).sum())

    def _early(self, tops_mm: FloatArray) -> float:
        wanted = self.priority.sum()
        return float((tops_mm * self.priority).sum() / wanted) if wanted > 0 else 0.0

    def _heavy(self, at: FloatArray, size: FloatArray, placed: Ints) -> float:
        """cm³ of heavier pieces whose box lies above that of a fragile piece, each as far as it overhangs."""
        total = 0.0
        volume = self.volume[placed]
        for i in np.flatnonzero(self.fragile[placed]):
            top = at[i, 2] + size[i, 2]
            above = (at[:, 2] >= top - self.bank.voxel_mm) & (at[:, 2] < top + FRAGILE_REACH.value)
            over = np.minimum(at + size, at[i] + size[i])[:, :2] - np.maximum(at, at[i])[:, :2]
            share = np.maximum(over, 0.0).prod(axis=1) / size[:, :2].prod(axis=1)
            total += float((volume * share)[above & (volume > volume[i])].sum())
        return total

    def _spread(self, centre: FloatArray, placed: Ints) -> float:
        """Mean distance of a piece from the middle of its line, mm."""
        if not len(placed):
            return 0.0
        line = self.line[placed]
        return float(np.linalg.norm(centre - _means(centre, line)[line], axis=1).mean())

    def _near(self, at: FloatArray, size: FloatArray, placed: Ints) -> float:
        """Mean shortfall, over the pieces of look-alike groups, of the distance to the nearest of another line."""
        index = np.full(len(self.part), -1)
        index[placed] = np.arange(len(placed))
        short: list[float] = []
        for group in self.groups:
            k = index[group]
            k = k[k >= 0]
            line = self.line[placed[k]]
            if len(np.unique(line)) < 2:
                continue
            low, high = at[k], at[k] + size[k]
            gap = np.maximum(np.maximum(low[:, None] - high[None], low[None] - high[:, None]), 0.0)
            distance = np.sqrt((gap**2).sum(axis=2))
            distance[line[:, None] == line[None]] = np.inf
            short += np.maximum(self.wishes.apart_mm - distance.min(axis=1), 0.0).tolist()
        return float(np.mean(short)) if short else 0.0

    def _empty(self, placed: Ints, height: float) -> float:
        space = self.task.space
        cake = space.x_mm * space.y_mm * height / MM3_PER_CM3
        return 100.0 * (1.0 - float(self.volume[placed].sum()) / cake) if cake > 0 else 0.0


def _means(points: FloatArray, group: Ints) -> FloatArray:
    """(groups, 3): the mean of the points of each group."""
    count = np.maximum(1, np.bincount(group))
    return np.stack([np.bincount(group, points[:, a]) / count for a in range(3)], axis=1)
