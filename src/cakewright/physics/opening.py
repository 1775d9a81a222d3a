"""When may this cake be opened, what is where then, and what would it mean to open earlier?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cakewright.findings import Finding, Severity
from cakewright.model.build import Cooling, LayerProfile, Placement, PrintTime
from cakewright.model.cell import ChamberType, Material
from cakewright.model.heat import PieceHeat
from cakewright.model.mesh import FloatArray, Mesh
from cakewright.physics.cake import Cake, Growth, HeatModel, History, growth
from cakewright.physics.cooling import target_theta
from cakewright.physics.grid import CakeGrid, SolidGrid, solid_grid
from cakewright.physics.layers import height_of
from cakewright.sources import physics as numbers
from cakewright.units import S_PER_H

DEFAULT_SPREAD = (numbers.DIFFUSIVITY_SPREAD.value, numbers.SURFACE_SPREAD.value)


@dataclass(frozen=True, eq=False)
class BuildHeat:
    """Everything the heat model says about a build.

    `cooling` is the simple contract; `time_s` (k,) from the print end with `piece_c` (k, pieces), the
    warmest place of each piece, `section_c` (k, nz, nx) the cake cut at `section_y_mm`, rows from the
    floor; `dose_h` (nz, ny, nx): hours at bed temperature that would age the powder as much, up to the
    opening; `may_leave_s`: after so long in the machine the skin may meet air; `heat_error`: heat gone
    through faces against heat missing inside, relative.
    """

    cooling: Cooling
    solid: SolidGrid
    pieces: tuple[PieceHeat, ...]
    time_s: FloatArray
    piece_c: FloatArray
    watch_c: FloatArray
    section_c: NDArray[np.float32]
    section_y_mm: float
    dose_h: FloatArray
    may_leave_s: float
    heat_error: float


def cool_build(
    meshes: Mapping[str, Mesh],
    placements: Sequence[Placement],
    profile: LayerProfile,
    print_time: PrintTime,
    *,
    base_mm: tuple[float, float],
    base_powder_mm: float,
    cover_powder_mm: float,
    material: Material,
    chamber_type: ChamberType,
    room_c: float,
    model: HeatModel | None = None,
    spread: tuple[float, float] = DEFAULT_SPREAD,
    watch_mm: Sequence[tuple[float, float, float]] = (),
) -> BuildHeat:
    """Grow and cool the real build: where every piece stands, when every layer was laid.

    `base_mm` is the floor of the chamber from the origin of the placements; all six faces lose heat
    with the chamber's coefficient. `spread` are the factors of the early and late case on diffusivity
    and surface; `watch_mm` are places (chamber coordinates) whose history is kept in `watch_c`.

    Raises GeometryError for a piece outside the cake, CellError for impossible numbers,
    NotConvergedError when the cake would not be cold in two months. No stirring and no early opening
    is ever assumed. The sides while printing are taken at one temperature all the way up.
    """
    model = model or HeatModel()
    target_theta(material, room_c)
    solid = _filled(meshes, placements, height_of(profile), base_mm, (base_powder_mm, cover_powder_mm), model)
    grown = growth(profile, print_time, base_powder_mm, cover_powder_mm)
    wide, surface = spread

    longer = model.quick(solid.grid.sides_mm)

    def run(slow: tuple[float, float]) -> History:
        is_likely = slow == (1.0, 1.0)
        # where heat is slower or the cake large, longer steps are as good: the opening moves by less than 0.01 %
        is_calm = (slow[0] > 1 and slow[1] > 1) or min(solid.grid.sides_mm) >= numbers.QUICK_SIDE.value
        steps = longer if is_calm and not is_likely else model
        return Cake(solid, grown, material, chamber_type, room_c, steps, slow, watch_mm, with_details=is_likely).run()

    with ThreadPoolExecutor(2) as pool:  # the longest first, the other two beside it
        likely, early, late = pool.map(run, [(1.0, 1.0), (1 / wide, 1 / surface), (wide, surface)])
    return _result((early, likely, late), solid, grown, placements, material, room_c)


def watch_build(
    meshes: Mapping[str, Mesh],
    placements: Sequence[Placement],
    profile: LayerProfile,
    print_time: PrintTime,
    *,
    base_mm: tuple[float, float],
    base_powder_mm: float,
    cover_powder_mm: float,
    material: Material,
    chamber_type: ChamberType,
    room_c: float,
    model: HeatModel,
    watch_mm: Sequence[tuple[float, float, float]],
) -> tuple[FloatArray, FloatArray]:
    """Only the likely case, only what probes at `watch_mm` would show: seconds (k,) and °C (k, places).

    For fitting `HeatModel.speed` to readings; arguments and errors as for `cool_build`.
    """
    target_theta(material, room_c)
    solid = _filled(meshes, placements, height_of(profile), base_mm, (base_powder_mm, cover_powder_mm), model)
    grown = growth(profile, print_time, base_powder_mm, cover_powder_mm)
    run = Cake(solid, grown, material, chamber_type, room_c, model, watch_mm=watch_mm, with_details=False).run()
    return np.array(run.time_s), np.array(run.watch_c)


def _filled(
    meshes: Mapping[str, Mesh],
    placements: Sequence[Placement],
    height_mm: float,
    base_mm: tuple[float, float],
    powder_mm: tuple[float, float],
    model: HeatModel,
) -> SolidGrid:
    """The pieces in cells over the whole cake; `powder_mm` is base and cover."""
    full_mm = powder_mm[0] + height_mm + powder_mm[1]
    cell_mm = model.sized((full_mm, base_mm[1], base_mm[0])).cell_mm
    return solid_grid(meshes, placements, CakeGrid.over(base_mm, full_mm, powder_mm[0], cell_mm))


def _result(
    runs: tuple[History, History, History],
    solid: SolidGrid,
    grown: Growth,
    placements: Sequence[Placement],
    material: Material,
    room_c: float,
) -> BuildHeat:
    likely, target = runs[1], material.opening_temperature_c
    t = np.array(likely.time_s)
    after = t >= 0
    opening = [crossing(np.array(h.time_s), np.array(h.hottest_c), target, room_c) for h in runs]
    cooling = Cooling(
        target_c=target,
        opening_s=(opening[0], opening[1], opening[2]),
        curve_s=t[after],
        core_c=np.array(likely.hottest_c)[after],
        skin_c=np.array(likely.skin_c)[after],
        mean_c=np.array(likely.mean_c)[after],
        hottest_mm=solid.grid.centre_mm(likely.hottest_cell),
        method=f"growing cake, conduction on {' x '.join(map(str, reversed(solid.grid.cells)))} cells",
    )
    ny, dy = solid.grid.cells[1], solid.grid.size_mm[1]
    return BuildHeat(
        cooling=cooling,
        solid=solid,
        pieces=_pieces(runs, solid, grown, placements, target, room_c),
        time_s=t,
        piece_c=np.array(likely.piece_max_c),
        watch_c=np.array(likely.watch_c),
        section_c=np.array(likely.section_c),
        section_y_mm=(ny // 2 + 0.5) * dy,
        dose_h=likely.dose_h,
        may_leave_s=likely.may_leave_s,
        heat_error=max((h.heat_error for h in runs), key=abs),
    )


def crossing(time_s: FloatArray, curve_c: FloatArray, target_c: float, room_c: float) -> float:
    """Last time at which a curve falls below the target; exponential between points, 0 if it never was above."""
    above = np.flatnonzero((curve_c > target_c) & (time_s >= 0))
    if len(above) == 0:
        return 0.0
    i = int(above[-1])
    if i + 1 == len(time_s):
        return float(time_s[i])
    if min(curve_c[i + 1], target_c) <= room_c:
        share = (curve_c[i] - target_c) / (curve_c[i] - curve_c[i + 1])
    else:
        excess = np.log(np.array([curve_c[i], target_c, curve_c[i + 1]]) - room_c)
        share = (excess[0] - excess[1]) / (excess[0] - excess[2])
    return float(time_s[i] + share * (time_s[i + 1] - time_s[i]))


def _pieces(
    runs: tuple[History, History, History],
    solid: SolidGrid,
    grown: Growth,
    placements: Sequence[Placement],
    target_c: float,
    room_c: float,
) -> tuple[PieceHeat, ...]:
    out = []
    curves = [(np.array(h.time_s), np.array(h.piece_max_c)) for h in runs]
    likely = runs[1]
    end = int(np.flatnonzero(np.array(likely.time_s) >= 0)[0])
    for i, p in enumerate(placements):
        cells = solid.cells[i]
        opening = [crossing(t, c[:, i], target_c, room_c) for t, c in curves]
        solid_s = float(np.nanmax(likely.solidified_s.reshape(-1)[cells]))
        done = float(grown.reached(p.z_max_mm + solid.grid.base_powder_mm)) - grown.end_s
        out.append(
            PieceHeat(
                piece=p.piece,
                opening_s=(opening[0], opening[1], opening[2]),
                at_print_end_c=float(likely.piece_max_c[end][i]),
                solid_s=solid_s,
                hours_soft=max(solid_s - done, 0.0) / S_PER_H,
                front_c_mm=float(likely.front_c_mm.reshape(-1)[cells].max()),
            )
        )
    return tuple(out)


def opened_at(heat: BuildHeat, seconds: float) -> tuple[tuple[str, float], ...]:
    """What opening at this time after the print end would lay bare: pieces and their warmest °C, hottest first."""
    at = [float(np.interp(seconds, heat.time_s, heat.piece_c[:, i])) for i in range(len(heat.pieces))]
    found = [(p.piece, c) for p, c in zip(heat.pieces, at, strict=True)]
    return tuple(sorted(found, key=lambda pair: -pair[1]))


def early_opening(heat: BuildHeat, seconds: float) -> list[Finding]:
    """A finding for every piece that would still be above the opening temperature."""
    return [
        Finding(
            "heat.opened-too-hot",
            Severity.WARNING,
            f"{celsius:.0f} °C when opened {seconds / S_PER_H:.1f} h after the print end, "
            f"limit {heat.cooling.target_c:.0f} °C",
            where=piece,
            remedy="wait: hot flats bend, hot surfaces yellow, hot powder burns skin",
            value=celsius,
            limit=heat.cooling.target_c,
            unit="°C",
        )
        for piece, celsius in opened_at(heat, seconds)
        if celsius > heat.cooling.target_c
    ]


def warp_findings(heat: BuildHeat) -> list[Finding]:
    """Pieces that solidify across a steep gradient, or stay soft for very long."""
    out = []
    for p in heat.pieces:
        if p.front_c_mm > numbers.WARP_FRONT.value:
            out.append(
                Finding(
                    "heat.steep-gradient",
                    Severity.WARNING,
                    f"{p.front_c_mm:.1f} °C per mm while solidifying (limit {numbers.WARP_FRONT.value:g}, unverified)",
                    where=p.piece,
                    remedy="move it away from the wall or the floor",
                    value=p.front_c_mm,
                    limit=numbers.WARP_FRONT.value,
                    unit="°C/mm",
                )
            )
        if p.hours_soft > numbers.WARP_HOURS.value:
            out.append(
                Finding(
                    "heat.soft-for-long",
                    Severity.NOTE,
                    f"{p.hours_soft:.0f} h above its solidifying temperature after its last layer",
                    where=p.piece,
                    remedy="move it from the middle of the cake, or spread the pieces around it",
                    value=p.hours_soft,
                    limit=numbers.WARP_HOURS.value,
                    unit="h",
                )
            )
    return out
