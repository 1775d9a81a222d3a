"""The cake while it grows and cools: layers added hot between warm walls, then the machine off, then the room."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from cakewright.compiled import plain_kernel
from cakewright.errors import InputError, NotConvergedError
from cakewright.model.build import LayerProfile, PrintTime
from cakewright.model.cell import ChamberType, Material
from cakewright.model.mesh import FloatArray
from cakewright.physics.conduction import Block, Face, Faces
from cakewright.physics.grid import CakeGrid, SolidGrid
from cakewright.physics.matter import crystallisation_c, matter_of
from cakewright.sources import physics as numbers
from cakewright.units import KELVIN_AT_0_C


@dataclass(frozen=True, slots=True)
class HeatModel:
    """What the cake meets. Defaults are References; replace them by the cell's own measurements.

    `speed` is the self-calibrated number of a chamber type: it multiplies conduction and surface
    coefficients. `in_machine_s` (inf: stays in) is how long the chamber stays in the switched-off
    machine; there the surroundings fall from `side_c` to the room with time constant `machine_decay_s`.
    Cells and steps that are None follow the size of the cake (`sized`).
    """

    side_c: float = numbers.PRINT_SIDE_TEMPERATURE.value
    bottom_c: float = numbers.PRINT_SIDE_TEMPERATURE.value
    in_machine_s: float = numbers.CHAMBER_PRACTICE.value
    machine_decay_s: float = numbers.MACHINE_DECAY.value
    top_emissivity: float = 0.0
    speed: float = 1.0
    is_variable: bool = False
    crystallisation_j_kg: float = 0.0
    grid_mm: float | None = None
    print_step_s: float | None = None
    cool_step_s: float | None = None

    def sized(self, sides_mm: tuple[float, float, float]) -> Sizes:
        """Cells and steps for a cake with these sides (height, depth, width).

        Each side gets `physics.cells_across` cells within `physics.grid_least` and `physics.grid`, so a flat cake is
        cut finely upwards only. Heat needs time with the square of the smallest side, and so do the steps.
        """
        share = min(max(min(sides_mm) / numbers.STEP_SIDE.value, numbers.STEP_SHARE_LEAST.value), 1.0) ** 2
        low, high, across = numbers.GRID_LEAST.value, numbers.GRID.value, numbers.CELLS_ACROSS.value
        z, y, x = (self.grid_mm or min(max(side / across, low), high) for side in sides_mm)
        return Sizes(
            cell_mm=(z, y, x),
            print_step_s=self.print_step_s or numbers.PRINT_STEP.value * share,
            first_step_s=numbers.COOL_STEP_FIRST.value * share,
            cool_step_s=self.cool_step_s or numbers.COOL_STEP_LAST.value * share,
        )

    def quick(self, sides_mm: tuple[float, float, float]) -> HeatModel:
        """The same model with steps `physics.quick_steps` as long: for questions beside the main answer."""
        sizes, longer = self.sized(sides_mm), numbers.QUICK_STEPS.value
        return replace(self, print_step_s=longer * sizes.print_step_s, cool_step_s=longer * sizes.cool_step_s)


@dataclass(frozen=True, slots=True)
class Sizes:
    """How finely a cake is computed: cells, steps while printing, first and longest step while cooling."""

    cell_mm: tuple[float, float, float]
    print_step_s: float
    first_step_s: float
    cool_step_s: float


@dataclass(frozen=True, eq=False)
class Growth:
    """When the cake has which height: seconds from the first part layer, mm from the chamber floor."""

    seconds: FloatArray
    height_mm: FloatArray
    end_s: float

    def reached(self, height_mm: ArrayLike) -> FloatArray:
        """Seconds at which heights are reached; 0 for the base powder."""
        return np.asarray(np.interp(np.asarray(height_mm, dtype=np.float64), self.height_mm, self.seconds))


def growth(profile: LayerProfile, print_time: PrintTime, base_powder_mm: float, cover_powder_mm: float) -> Growth:
    """Height against time. Base powder lies there from the start; the end of the machine's run counts as hot."""
    if len(print_time.layer_s) != profile.layers:
        raise InputError(
            f"{len(print_time.layer_s)} layer times for {profile.layers} layers", remedy="compute both from one build"
        )
    layers_s = float(print_time.layer_s.sum())
    powder_s = max(print_time.recoat_s + print_time.scan_s + print_time.waiting_s - layers_s, 0.0)
    powder_mm = base_powder_mm + cover_powder_mm
    cover_s = powder_s * cover_powder_mm / powder_mm if powder_mm > 0 else 0.0
    top = base_powder_mm + profile.layers * profile.layer_mm
    seconds = np.concatenate([[0.0], np.cumsum(print_time.layer_s), [layers_s + cover_s]])
    height = np.concatenate([np.linspace(base_powder_mm, top, profile.layers + 1), [top + cover_powder_mm]])
    return Growth(seconds, height, layers_s + cover_s + print_time.end_s)


@dataclass(eq=False)
class History:
    """One run, step by step. Times are seconds from the print end (negative while printing).

    `piece_max_c`, `piece_min_c` (k, pieces); `section_c` (k, nz, nx) at the middle y, NaN where nothing lies
    yet; `watch_c` (k, m) at the watched places; `dose_h`, `solidified_s`, `front_c_mm` (nz, ny, nx): hours at
    bed temperature with the same ageing, time of falling below crystallisation and the temperature gradient then.
    """

    time_s: list[float] = field(default_factory=list)
    hottest_c: list[float] = field(default_factory=list)
    skin_c: list[float] = field(default_factory=list)
    mean_c: list[float] = field(default_factory=list)
    piece_max_c: list[FloatArray] = field(default_factory=list)
    piece_min_c: list[FloatArray] = field(default_factory=list)
    section_c: list[NDArray[np.float32]] = field(default_factory=list)
    watch_c: list[FloatArray] = field(default_factory=list)
    hottest_cell: tuple[int, int, int] = (0, 0, 0)
    dose_h: FloatArray = field(default_factory=lambda: np.zeros((0, 0, 0)))
    solidified_s: FloatArray = field(default_factory=lambda: np.zeros((0, 0, 0)))
    front_c_mm: FloatArray = field(default_factory=lambda: np.zeros((0, 0, 0)))
    may_leave_s: float = 0.0
    heat_error: float = 0.0


class Cake:
    """One cake through print and cooling.

    `slow` divides conduction and surface coefficients (conduction, surface). Without `with_details` dose,
    solidifying, mean, skin, section and the time in the machine are left out: enough for an early or late case.
    """

    def __init__(
        self,
        solid: SolidGrid,
        grown: Growth,
        material: Material,
        chamber_type: ChamberType,
        room_c: float,
        model: HeatModel,
        slow: tuple[float, float] = (1.0, 1.0),
        watch_mm: Sequence[tuple[float, float, float]] = (),
        *,
        with_details: bool = True,
    ) -> None:
        matter = matter_of(
            material, is_variable=model.is_variable, crystallisation_j_kg=model.crystallisation_j_kg
        ).faster(model.speed / slow[0])
        self.grid: CakeGrid = solid.grid
        self.grown, self.room_c, self.model = grown, room_c, model
        self.sizes = model.sized(self.grid.sides_mm)
        self.with_details = with_details
        self.bed_c, self.target_c = material.bed_temperature_c, material.opening_temperature_c
        self.film = chamber_type.surface_coefficient_w_m2k * model.speed / slow[1]
        self.block = Block(solid.share, self.grid.cell_m, matter, self.bed_c)
        self.starts = np.cumsum([0, *(len(c) for c in solid.cells)])
        self.cells = np.concatenate([*solid.cells, np.zeros(0, dtype=np.int64)])
        self.watched = [self.grid.cell_of(at) for at in watch_mm]
        self.freezing_c = crystallisation_c(material)
        self.ageing = ageing_rates(material.bed_temperature_c)
        self.history = History(
            dose_h=np.zeros(self.grid.cells),
            solidified_s=np.full(self.grid.cells, np.nan),
            front_c_mm=np.zeros(self.grid.cells),
        )

    def run(self) -> History:
        """Print, then cool until the hottest cell is below the opening temperature."""
        self._print()
        if self.with_details:
            self.history.may_leave_s = self._skin_cold_s()
        self._cool()
        block = self.block
        lost = block.start_j - block.heat_j
        self.history.heat_error = float((lost + block.energy_in_j) / lost)
        return self.history

    def _print(self) -> None:
        m, nz = self.model, self.grid.cells[0]
        middles = (np.arange(nz) + 0.5) * self.grid.size_mm[0]  # a slab exists once half of it is there
        begins = np.append(self.grown.reached(middles), self.grown.end_s)
        walls = Face(self.film, m.side_c)
        faces = Faces.around(walls, Face(self.film, m.bottom_c), Face(np.inf, self.bed_c))
        for slab in range(nz):
            self.block.grow(slab + 1, self.bed_c)
            span = begins[slab + 1] - begins[slab]
            steps = int(np.ceil(span / self.sizes.print_step_s))
            for i in range(steps):
                self._advance(span / steps, faces, begins[slab] + span * (i + 1) / steps - self.grown.end_s)

    def _cool(self) -> None:
        t = 0.0
        leave = self.model.in_machine_s
        self._record(t, self._surroundings(t, leave))
        for i, dt in self._cool_steps(leave):
            faces = self._surroundings(t + dt / 2, leave)
            self._advance(dt, faces, t + dt, implicit=1.0 if i < 2 else 0.5)
            t += dt
            if self.history.hottest_c[-1] <= self.target_c:
                return
        raise NotConvergedError(
            f"after {t / 86_400:.0f} days the cake is still above {self.target_c} °C",
            remedy="check surface coefficient, conductivity and room temperature",
        )

    def _skin_cold_s(self) -> float:
        """Seconds in the switched-off machine until the warmest skin may meet air; nothing of the cake is changed."""
        block, t, before = self.block.copy(), 0.0, np.inf
        for i, dt in self._cool_steps(np.inf):
            faces = self._surroundings(t + dt / 2, np.inf)
            block.step(dt, faces, implicit=1.0 if i < 2 else 0.5)
            skin = _warmest_skin(block, faces)
            if skin <= numbers.LEAVE_SKIN.value:
                share = (before - numbers.LEAVE_SKIN.value) / (before - skin) if np.isfinite(before) else 1.0
                return float(t + share * dt)
            t, before = t + dt, skin
        return float("inf")

    def _cool_steps(self, leave: float) -> Iterator[tuple[int, float]]:
        """Steps growing from short to long, starting over when the chamber leaves the machine."""
        t, dt, i = 0.0, self.sizes.first_step_s, 0
        while t < numbers.LONGEST_COOLING.value:
            if t < leave <= t + dt * 1.001:
                yield i, leave - t
                t, dt, i = leave, self.sizes.first_step_s, 0
            else:
                yield i, dt
                t, dt, i = t + dt, min(dt * numbers.COOL_STEP_GROWTH.value, self.sizes.cool_step_s), i + 1

    def _surroundings(self, t: float, leave: float) -> Faces:
        around, emissivity = self.room_c, self.model.top_emissivity
        if t < leave:
            around += (self.model.side_c - self.room_c) * float(np.exp(-t / self.model.machine_decay_s))
        face = Face(self.film, around)
        return Faces.around(face, face, Face(self.film, around, emissivity))

    def _advance(self, dt: float, faces: Faces, now_s: float, implicit: float = 0.5) -> None:
        self.block.step(dt, faces, implicit)
        if self.with_details:
            self._watch_solidifying(dt, now_s)
        self._record(now_s, faces)

    def _watch_solidifying(self, dt: float, now_s: float) -> None:
        h = self.history
        _observe(
            self.block.temperature_c, self.block.active, dt, now_s, self.ageing,
            self.freezing_c, self.grid.size_mm, h.dose_h, h.solidified_s, h.front_c_mm,
        )  # fmt: skip

    def _record(self, now_s: float, faces: Faces) -> None:
        h = self.history
        t = self.block.temperature_c
        active = t[: self.block.active]
        hottest = np.unravel_index(int(active.argmax()), active.shape)
        h.hottest_cell = (int(hottest[0]), int(hottest[1]), int(hottest[2]))
        h.time_s.append(now_s)
        h.hottest_c.append(float(active[hottest]))
        high, low = _extremes(t.reshape(-1), self.cells, self.starts)
        h.piece_max_c.append(high)
        h.piece_min_c.append(low)
        h.watch_c.append(np.array([t[cell] for cell in self.watched]))
        if not self.with_details:
            return
        h.mean_c.append(_mean(active, self.block.capacity_j_m3k))
        h.skin_c.append(_warmest_skin(self.block, faces))
        section = t[:, self.grid.cells[1] // 2, :].astype(np.float32)
        section[self.block.active :] = np.nan
        h.section_c.append(section)


def _warmest_skin(block: Block, faces: Faces) -> float:
    """Highest temperature on the surface, from the outermost cells and what the face meets."""
    t, k = block.temperature_c[: block.active], block.conductivity_w_mk
    warmest = -np.inf
    for axis in range(3):
        for face, end in zip(faces.along(axis), (0, -1), strict=True):
            cut = (slice(None),) * axis + (end,)
            warmest = max(warmest, _warmest(t[cut], k[cut], block.cell_m[axis], face.coefficient_w_m2k, face.outside_c))
    return warmest


@plain_kernel
def _warmest(inside: FloatArray, conductivity: FloatArray, cell: float, film: float, outside_c: float) -> float:
    """Highest skin temperature of one face: half a cell in series with the film."""
    if np.isinf(film):
        return outside_c
    warmest = -np.inf
    for i in range(inside.shape[0]):
        for j in range(inside.shape[1]):
            half = 2 * conductivity[i, j] / cell
            warmest = max(warmest, (half * inside[i, j] + film * outside_c) / (half + film))
    return warmest


@plain_kernel
def _mean(temperature: FloatArray, capacity: FloatArray) -> float:
    """Mean temperature weighted by heat capacity."""
    heat, total = 0.0, 0.0
    for z in range(temperature.shape[0]):
        for y in range(temperature.shape[1]):
            for x in range(temperature.shape[2]):
                heat += temperature[z, y, x] * capacity[z, y, x]
                total += capacity[z, y, x]
    return heat / total


def ageing_rates(bed_c: float) -> FloatArray:
    """Ageing at 0, 1, 2 ... °C relative to that at bed temperature: Arrhenius with `physics.ageing_energy`."""
    kelvin = np.arange(0.0, 400.0) + KELVIN_AT_0_C
    energy = numbers.AGEING_ENERGY.value / numbers.GAS_CONSTANT.value
    return np.asarray(np.exp(energy * (1.0 / (bed_c + KELVIN_AT_0_C) - 1.0 / kelvin)))


@plain_kernel
def _extremes(
    temperature: FloatArray, cells: NDArray[np.int64], starts: NDArray[np.int64]
) -> tuple[FloatArray, FloatArray]:
    """Highest and lowest temperature among the cells of each piece."""
    n = starts.shape[0] - 1
    high, low = np.empty(n), np.empty(n)
    for p in range(n):
        a, b = -np.inf, np.inf
        for i in range(starts[p], starts[p + 1]):
            t = temperature[cells[i]]
            a, b = max(a, t), min(b, t)
        high[p], low[p] = a, b
    return high, low


@plain_kernel
def _observe(
    temperature: FloatArray,
    active: int,
    dt: float,
    now_s: float,
    ageing: FloatArray,
    freezing_c: float,
    size_mm: tuple[float, float, float],
    dose_h: FloatArray,
    solidified_s: FloatArray,
    front_c_mm: FloatArray,
) -> None:
    """Add to the dose (hours at bed temperature) and note when and how steeply each cell solidifies."""
    nz, ny, nx = active, temperature.shape[1], temperature.shape[2]
    last = ageing.shape[0] - 2
    for z in range(nz):
        for y in range(ny):
            for x in range(nx):
                t = temperature[z, y, x]
                q = min(max(int(t), 0), last)
                dose_h[z, y, x] += dt / 3600.0 * (ageing[q] + (t - q) * (ageing[q + 1] - ageing[q]))
                if t < freezing_c and np.isnan(solidified_s[z, y, x]):
                    solidified_s[z, y, x] = now_s
                    z0, z1 = max(z - 1, 0), min(z + 1, nz - 1)
                    y0, y1 = max(y - 1, 0), min(y + 1, ny - 1)
                    x0, x1 = max(x - 1, 0), min(x + 1, nx - 1)
                    gz = (temperature[z1, y, x] - temperature[z0, y, x]) / (max(z1 - z0, 1) * size_mm[0])
                    gy = (temperature[z, y1, x] - temperature[z, y0, x]) / (max(y1 - y0, 1) * size_mm[1])
                    gx = (temperature[z, y, x1] - temperature[z, y, x0]) / (max(x1 - x0, 1) * size_mm[2])
                    front_c_mm[z, y, x] = np.sqrt(gz * gz + gy * gy + gx * gx)
