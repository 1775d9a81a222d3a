"""What a stop at some layer would leave: whole, doubtful, half-made and never begun pieces."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from cakewright.errors import InputError
from cakewright.model.build import Build, Placement
from cakewright.model.plan import WeekPlan
from cakewright.sources.stop import STOP_MARGIN
from cakewright.units import hours


class PieceFate(StrEnum):
    """What a stop makes of a piece, in words."""

    WHOLE = "whole"
    DOUBTFUL = "whole, ends near the stop: inspect before use"
    HALF = "half made: scrap"
    NOT_BEGUN = "not begun"


@dataclass(frozen=True, slots=True)
class LineAfterStop:
    """Pieces of one line by fate. `again_cost` is the planned cost of what must be made again, None when unknown."""

    line: int
    whole: int
    doubtful: int
    half: int
    not_begun: int
    again_cost: float | None

    @property
    def again(self) -> int:
        """Pieces to be made again at least; doubtful ones may add to them."""
        return self.half + self.not_begun


@dataclass(frozen=True, slots=True)
class AfterStop:
    """The whole answer. `hours_printed` and `hours_open` split the layers' time at the stop; `at_mm` is its height."""

    build: str
    layer: int
    layers: int
    at_mm: float
    margin_mm: float
    fates: tuple[tuple[str, int, PieceFate], ...]
    lines: tuple[LineAfterStop, ...]
    hours_printed: float
    hours_open: float
    sintered_in_scrap_cm3: float

    def count(self, fate: PieceFate) -> int:
        """Pieces with that fate."""
        return sum(1 for _piece, _line, own in self.fates if own is fate)


def after_stop(plan: WeekPlan, build: Build, layer: int, margin_mm: float | None = None) -> AfterStop:
    """What is left when the build stops after `layer` finished layers; nothing is changed by asking.

    A piece is whole when its top is at or below the last finished layer, doubtful when it is whole but ends
    within `margin_mm` of it (default `stop.margin`), half made when it has begun. InputError for a layer
    the build does not have or a negative margin.
    """
    layers = build.profile.layers
    if not 0 <= layer <= layers:
        raise InputError(f"layer {layer}", remedy=f"{build.key} has layers 0 to {layers}", where="layer")
    margin = float(STOP_MARGIN) if margin_mm is None else margin_mm
    if not margin >= 0:
        raise InputError(f"margin {margin} mm", remedy="give 0 or more", where="margin_mm")
    at = layer * build.profile.layer_mm
    fates = {p.piece: _fate(p, at, margin, is_done=layer == layers) for p in build.nest.placements}
    spent = float(build.print_time.layer_s[:layer].sum()) + (build.print_time.warm_up_s if layer else 0.0)
    return AfterStop(
        build=build.key,
        layer=layer,
        layers=layers,
        at_mm=at,
        margin_mm=margin,
        fates=tuple((p.piece, p.line, fates[p.piece]) for p in build.nest.placements),
        lines=tuple(_line(plan, build, number, fates) for number in build.lines),
        hours_printed=hours(spent),
        hours_open=hours(float(build.print_time.layer_s[layer:].sum()) + build.print_time.end_s),
        sintered_in_scrap_cm3=_scrap_cm3(plan, build, at, fates),
    )


def _fate(piece: Placement, at_mm: float, margin_mm: float, *, is_done: bool) -> PieceFate:
    hair = 1e-6
    if is_done or piece.z_max_mm <= at_mm - margin_mm + hair:
        return PieceFate.WHOLE
    if piece.z_max_mm <= at_mm + hair:
        return PieceFate.DOUBTFUL
    return PieceFate.HALF if piece.z_min_mm < at_mm - hair else PieceFate.NOT_BEGUN


def _line(plan: WeekPlan, build: Build, number: int, fates: dict[str, PieceFate]) -> LineAfterStop:
    mine = [fates[p.piece] for p in build.pieces_of(number)]
    counts = {fate: mine.count(fate) for fate in PieceFate}
    again = counts[PieceFate.HALF] + counts[PieceFate.NOT_BEGUN]
    cost = next((c.total for c in plan.costs if c.line == number), None)
    return LineAfterStop(
        line=number,
        whole=counts[PieceFate.WHOLE],
        doubtful=counts[PieceFate.DOUBTFUL],
        half=counts[PieceFate.HALF],
        not_begun=counts[PieceFate.NOT_BEGUN],
        again_cost=None if cost is None else cost / plan.line(number).quantity * again,
    )


def _scrap_cm3(plan: WeekPlan, build: Build, at_mm: float, fates: dict[str, PieceFate]) -> float:
    """Solid volume in half-made pieces, each taken in proportion to the height that was built (an estimate)."""
    total = 0.0
    for p in build.nest.placements:
        if fates[p.piece] is PieceFate.HALF:
            share = (at_mm - p.z_min_mm) / max(p.z_max_mm - p.z_min_mm, 1e-9)
            total += share * plan.parts[p.part_key].measures.volume_cm3
    return total
