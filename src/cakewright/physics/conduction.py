"""Heat conduction on a block of cells: one look at all six neighbours, then implicit sweeps along z, y, x lines.

The step is the alternating-direction scheme of Douglas (Numer. Math. 4 (1962) 41-63) in its delta form: of
second order in time, right in the steady state, and each sweep solves short lines only. Neighbours exchange
fluxes through shared faces; conductivities in series between cell centres (Patankar, Numerical Heat Transfer
and Fluid Flow, 1980, ch. 4). The splitting keeps heat to the order of the step, so `energy_in_j` against
`heat_j` tells how good the steps were. Where properties depend on temperature the heat content is carried
along and the temperature read back from it.
"""

from __future__ import annotations

import copy
from dataclasses import dataclass

import numpy as np

from cakewright.compiled import plain_kernel
from cakewright.errors import InputError
from cakewright.model.mesh import FloatArray
from cakewright.physics.matter import Matter
from cakewright.units import KELVIN_AT_0_C

STEFAN_BOLTZMANN = 5.670374419e-8  # W/(m² K⁴), CODATA 2018: exact from the defining constants of the SI

_ZYX_VIEWS = ((1, 0, 2), (0, 1, 2), (0, 2, 1))  # (outer, along, inner) for sweeps along z, y, x
_ENDS = tuple((axis, end) for axis in range(3) for end in (0, -1))
_NEWTON_STEPS = 12


@dataclass(frozen=True, slots=True)
class Face:
    """What one face of the block meets: coefficient W/(m² K) (inf: held at `outside_c`), °C, emissivity."""

    coefficient_w_m2k: float
    outside_c: float
    emissivity: float = 0.0


@dataclass(frozen=True, slots=True)
class Faces:
    """The six faces of the block."""

    x_low: Face
    x_high: Face
    y_low: Face
    y_high: Face
    bottom: Face
    top: Face

    @classmethod
    def around(cls, sides: Face, bottom: Face, top: Face) -> Faces:
        """Four equal sides, a bottom and a top."""
        return cls(sides, sides, sides, sides, bottom, top)

    def along(self, axis: int) -> tuple[Face, Face]:
        """Low and high face of axis 0 (z), 1 (y), 2 (x)."""
        return ((self.bottom, self.top), (self.y_low, self.y_high), (self.x_low, self.x_high))[axis]


class Block:
    """Cells of a cake with their temperature. Arrays are (nz, ny, nx); `active` slabs from below exist so far.

    `solid` is the share of each cell that is part (0..1), `cell_m` the edge lengths (z, y, x) in m.
    `energy_in_j` counts what came in through faces, `start_j` the heat brought by what was put there.
    """

    def __init__(self, solid: FloatArray, cell_m: tuple[float, float, float], matter: Matter, start_c: float) -> None:
        if solid.ndim != 3 or min(cell_m) <= 0 or solid.min() < 0 or solid.max() > 1:
            raise InputError("a block needs solid shares 0..1 in three dimensions and cells of some size")
        self.solid = np.ascontiguousarray(solid, dtype=np.float64)
        self.cell_m = cell_m
        self.matter = matter
        self.temperature_c = np.full(solid.shape, float(start_c))
        self.active = 0
        self.energy_in_j = 0.0
        self.start_j = 0.0
        self._heat = np.zeros(solid.shape)
        self._capacity = np.empty(solid.shape)
        self._conductivity = np.empty(solid.shape)
        # between each cell and the next one along z, y, x, W/(m³ K); worked out only when properties change
        self._exchange = tuple(np.zeros(solid.shape) for _ in range(3))

    def grow(self, slabs: int, temperature_c: float) -> None:
        """Let slabs exist up to `slabs`, the new ones at `temperature_c`."""
        new = slice(self.active, slabs)
        self.temperature_c[new] = temperature_c
        self._heat[new] = self.matter.heat(self.solid[new], temperature_c)
        self.start_j += float(self._heat[new].sum()) * self.cell_volume_m3
        self._refresh(self.active, slabs)
        self.active = slabs

    def copy(self) -> Block:
        """The same state, to be carried on separately."""
        other = copy.copy(self)
        for name in ("temperature_c", "_heat", "_capacity", "_conductivity"):
            setattr(other, name, getattr(self, name).copy())
        other._exchange = tuple(g.copy() for g in self._exchange)
        return other

    @property
    def cell_volume_m3(self) -> float:
        """Volume of one cell."""
        return self.cell_m[0] * self.cell_m[1] * self.cell_m[2]

    @property
    def heat_j(self) -> float:
        """Heat content of the active cells above 0 °C (parts that can still crystallise hold that heat too)."""
        return float(self._heat[: self.active].sum()) * self.cell_volume_m3

    @property
    def capacity_j_m3k(self) -> FloatArray:
        """Heat capacity of the active cells."""
        return self._capacity[: self.active]

    @property
    def conductivity_w_mk(self) -> FloatArray:
        """Conductivity of the active cells."""
        return self._conductivity[: self.active]

    def step(self, seconds: float, faces: Faces, implicit: float = 0.5) -> None:
        """One time step. `implicit` 0.5 is of second order, 1 damps a sudden change."""
        n = self.active
        t, c, k = self.temperature_c[:n], self._capacity[:n], self._conductivity[:n]
        outside = tuple(
            (f.coefficient_w_m2k, f.outside_c, f.emissivity) for axis in range(3) for f in faces.along(axis)
        )
        rise = np.empty_like(t)
        between = [g[:n] for g in self._exchange]
        _explicit(t, c, between[0], between[1], between[2], seconds, rise)
        before = self._through(outside, seconds, rise)
        for axis, view in enumerate(_ZYX_VIEWS):
            low, high = outside[2 * axis], outside[2 * axis + 1]
            _lines(
                rise.transpose(view), t.transpose(view), c.transpose(view), k.transpose(view),
                between[axis].transpose(view), self.cell_m[axis], seconds * implicit, low, high,
            )  # fmt: skip
        _add(rise, t, c, self._heat[:n])
        after = self._through(outside, seconds, rise)
        self.energy_in_j += seconds * ((1 - implicit) * before + implicit * after) * self.cell_volume_m3
        if self.matter.is_variable:
            self._refresh(0, n)

    def _through(self, outside: tuple[tuple[float, float, float], ...], seconds: float, rise: FloatArray) -> float:
        """What comes in through the six faces now, W/m³ summed over cells; its rise is added to `rise`."""
        t, c, k = (a[: self.active] for a in (self.temperature_c, self._capacity, self._conductivity))
        total = 0.0
        for i, (axis, end) in enumerate(_ENDS):
            cut = (slice(None),) * axis + (end,)
            total += _through_face(t[cut], c[cut], k[cut], self.cell_m[axis], outside[i], seconds, rise[cut])
        return total

    def _refresh(self, first: int, last: int) -> None:
        """Temperature from heat, then capacity and conductivity from temperature."""
        rows = slice(first, last)
        t = self.matter.tables
        _settle(
            self.solid[rows], self._heat[rows], self.temperature_c[rows], self._capacity[rows],
            self._conductivity[rows], t.first_c, t.step_c, t.capacity, t.heat, t.conductivity,
        )  # fmt: skip
        below = slice(max(first - 1, 0), last)
        _exchanges(self._conductivity[below], self.cell_m, *(g[below] for g in self._exchange))


@plain_kernel
def _outside(face: tuple[float, float, float], conductivity: float, cell: float, near_c: float) -> float:
    """Conductance from cell centre to the outside, W/(m² K): half a cell in series with film and radiation."""
    film = face[0]
    if face[2] > 0:
        a, b = near_c + KELVIN_AT_0_C, face[1] + KELVIN_AT_0_C
        film += face[2] * STEFAN_BOLTZMANN * (a * a + b * b) * (a + b)
    half = 2 * conductivity / cell
    if np.isinf(film):
        return half
    return 0.0 if film <= 0 else film * half / (film + half)


@plain_kernel
def _exchanges(
    conductivity: FloatArray,
    cell_m: tuple[float, float, float],
    along_z: FloatArray,
    along_y: FloatArray,
    along_x: FloatArray,
) -> None:
    """What flows to the next cell for each kelvin, W/(m³ K): two half cells in series; 0 behind the last cell."""
    nz, ny, nx = conductivity.shape
    wz, wy, wx = 2 / cell_m[0] ** 2, 2 / cell_m[1] ** 2, 2 / cell_m[2] ** 2
    for z in range(nz):
        for y in range(ny):
            for x in range(nx):
                own = conductivity[z, y, x]
                along_z[z, y, x] = along_y[z, y, x] = along_x[z, y, x] = 0.0
                if z < nz - 1:
                    other = conductivity[z + 1, y, x]
                    along_z[z, y, x] = wz * own * other / (own + other)
                if y < ny - 1:
                    other = conductivity[z, y + 1, x]
                    along_y[z, y, x] = wy * own * other / (own + other)
                if x < nx - 1:
                    other = conductivity[z, y, x + 1]
                    along_x[z, y, x] = wx * own * other / (own + other)


@plain_kernel
def _explicit(
    temperature: FloatArray,
    capacity: FloatArray,
    along_z: FloatArray,
    along_y: FloatArray,
    along_x: FloatArray,
    seconds: float,
    rise: FloatArray,
) -> None:
    """Temperature rise of each cell by what its neighbours give it now, into `rise`; row by row, lanes side by side."""
    nz, ny, nx = temperature.shape
    t, flow = temperature, np.empty(nx)
    for z in range(nz):
        for y in range(ny):
            for x in range(nx):
                flow[x] = 0.0
            if z > 0:
                for x in range(nx):
                    flow[x] += along_z[z - 1, y, x] * (t[z - 1, y, x] - t[z, y, x])
            if z < nz - 1:
                for x in range(nx):
                    flow[x] += along_z[z, y, x] * (t[z + 1, y, x] - t[z, y, x])
            if y > 0:
                for x in range(nx):
                    flow[x] += along_y[z, y - 1, x] * (t[z, y - 1, x] - t[z, y, x])
            if y < ny - 1:
                for x in range(nx):
                    flow[x] += along_y[z, y, x] * (t[z, y + 1, x] - t[z, y, x])
            for x in range(nx - 1):
                flow[x] += along_x[z, y, x] * (t[z, y, x + 1] - t[z, y, x])
            for x in range(1, nx):
                flow[x] += along_x[z, y, x - 1] * (t[z, y, x - 1] - t[z, y, x])
            for x in range(nx):
                rise[z, y, x] = seconds * flow[x] / capacity[z, y, x]


@plain_kernel
def _add(rise: FloatArray, temperature: FloatArray, capacity: FloatArray, heat: FloatArray) -> None:
    """Let temperatures rise, and the heat with them."""
    for z in range(rise.shape[0]):
        for y in range(rise.shape[1]):
            for x in range(rise.shape[2]):
                temperature[z, y, x] += rise[z, y, x]
                heat[z, y, x] += capacity[z, y, x] * rise[z, y, x]


@plain_kernel
def _through_face(
    temperature: FloatArray,
    capacity: FloatArray,
    conductivity: FloatArray,
    cell: float,
    face: tuple[float, float, float],
    seconds: float,
    rise: FloatArray,
) -> float:
    """Add what one face (2-D views of the outermost cells) gives to `rise`; return W/m³ summed over its cells."""
    through = 0.0
    for i in range(temperature.shape[0]):
        for j in range(temperature.shape[1]):
            t = temperature[i, j]
            flow = _outside(face, conductivity[i, j], cell, t) / cell * (face[1] - t)
            rise[i, j] += seconds * flow / capacity[i, j]
            through += flow
    return through


@plain_kernel
def _lines(
    rise: FloatArray,
    temperature: FloatArray,
    capacity: FloatArray,
    conductivity: FloatArray,
    exchange: FloatArray,
    cell: float,
    seconds: float,
    low: tuple[float, float, float],
    high: tuple[float, float, float],
) -> None:
    """Solve (capacity + seconds x exchange) rise' = capacity x rise on all lines along the middle axis, in place.

    Arrays are (outer, n, inner) views; `seconds` already holds the implicit share.
    """
    outer, n, inner = rise.shape
    c, right = np.empty((n, inner)), np.empty((n, inner))
    g, upper = np.empty((n + 1, inner)), np.empty((n, inner))
    for o in range(outer):
        for i in range(n):
            for j in range(inner):
                c[i, j] = capacity[o, i, j]
                right[i, j] = rise[o, i, j] * c[i, j]
                g[i + 1, j] = seconds * exchange[o, i, j]
        for j in range(inner):
            g[0, j] = seconds * _outside(low, conductivity[o, 0, j], cell, temperature[o, 0, j]) / cell
            g[n, j] = seconds * _outside(high, conductivity[o, n - 1, j], cell, temperature[o, n - 1, j]) / cell
        for j in range(inner):
            b = c[0, j] + g[0, j] + g[1, j]
            right[0, j] /= b
            upper[0, j] = g[1, j] / b
        for i in range(1, n):
            for j in range(inner):
                b = 1.0 / (c[i, j] + g[i, j] * (1.0 - upper[i - 1, j]) + g[i + 1, j])
                right[i, j] = (right[i, j] + g[i, j] * right[i - 1, j]) * b
                upper[i, j] = g[i + 1, j] * b
        for i in range(n - 2, -1, -1):
            for j in range(inner):
                right[i, j] += upper[i, j] * right[i + 1, j]
        for i in range(n):
            for j in range(inner):
                rise[o, i, j] = right[i, j]


@plain_kernel
def _settle(
    solid: FloatArray,
    heat: FloatArray,
    temperature: FloatArray,
    capacity: FloatArray,
    conductivity: FloatArray,
    first_c: float,
    step_c: float,
    capacities: FloatArray,
    heats: FloatArray,
    conductivities: FloatArray,
) -> None:
    """Find each cell's temperature from its heat (Newton, kept in a bracket), then its properties.

    Tables have a row for powder (0) and part (1), linear between their points, a cell mixes both by volume;
    the heat is the exact integral of the linear capacity.
    """
    last = capacities.shape[1] - 1
    for i in range(solid.shape[0]):
        for j in range(solid.shape[1]):
            for m in range(solid.shape[2]):
                s = solid[i, j, m]
                t = temperature[i, j, m]
                low, high = first_c, first_c + step_c * last
                for _ in range(_NEWTON_STEPS):
                    p = min(max((t - first_c) / step_c, 0.0), last - 1e-9)
                    q = int(p)
                    w = p - q
                    c0 = (1 - s) * capacities[0, q] + s * capacities[1, q]
                    c1 = (1 - s) * capacities[0, q + 1] + s * capacities[1, q + 1]
                    h0 = (1 - s) * heats[0, q] + s * heats[1, q]
                    c = c0 + w * (c1 - c0)
                    over = h0 + step_c * w * (c0 + 0.5 * w * (c1 - c0)) - heat[i, j, m]
                    if over > 0:
                        high = t
                    else:
                        low = t
                    if abs(over) < 1e-9 * c:
                        break
                    t = t - over / c
                    if not (low < t < high):
                        t = 0.5 * (low + high)
                temperature[i, j, m] = t
                capacity[i, j, m] = c
                conductivity[i, j, m] = (1 - s) * (
                    (1 - w) * conductivities[0, q] + w * conductivities[0, q + 1]
                ) + s * ((1 - w) * conductivities[1, q] + w * conductivities[1, q + 1])
