"""The lowest nest we know how to make: exact for few simple pieces, else by cells and then settled."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from cakewright.model.build import Nest, Placement
from cakewright.nesting.cage import block_of_cage
from cakewright.nesting.few import is_few, nest_few
from cakewright.nesting.pile import Hold
from cakewright.nesting.search import nest, volume_mm3
from cakewright.nesting.separable import removal
from cakewright.nesting.settle import settle
from cakewright.nesting.task import NestTask
from cakewright.nesting.wishes import ReservedPlace
from cakewright.nesting.worth import Worth
from cakewright.sources.nesting_exact import SETTLE_ROUNDS, SETTLE_TOLD
from cakewright.stopping import MaxSteps, Stop


def nest_tight(
    task: NestTask, *, stop: Stop, seed: int, progress: Callable[[int, float], None] | None = None, workers: int = 1
) -> Nest:
    """Place the pieces of `task` as low as possible; the same promise as `search.nest`.

    Few pieces that are unions of a few convex ones are nested on their exact shapes (`few.nest_few`), all others, and
    all with wishes or pieces that stand fixed, by cells and then `settled`.
    """
    if task.wishes is None and not task.fixed and is_few(task):
        return nest_few(task, stop=stop, seed=seed, progress=progress)
    return settled(task, nest(task, stop=stop, seed=seed, progress=progress, workers=workers))


def settled(task: NestTask, found: Nest, *, stop: Stop | None = None) -> Nest:
    """A nest settled on the exact meshes, as far as everything can still be taken out; never worse than before.

    Worse is judged by the price of all wishes of the task, height among them (`worth.Worth`); a wish that was fulfilled
    stays so. Pieces that stand fixed, specimens and reserved places keep their place, thick parts their wider gap.
    """
    rule = MaxSteps(int(SETTLE_ROUNDS.value)) if stop is None else stop
    if rule(0, found.height_mm):
        return found
    stand = {p.name: p for p in task.reserved}
    lows = {p.name: np.array(p.low_mm) for p in task.reserved}
    boxes = {_key(p): block_of_cage(p.high_mm - lows[p.name]).placed(np.eye(3), lows[p.name]) for p in task.reserved}
    outer = [p for p in found.placements if p.piece not in stand]
    places = [_standing(place, found.placements) for place in task.reserved]

    def is_free(placements: Sequence[Placement]) -> bool:
        true = _without_boxes(placements, found.placements, stand)
        return removal(task.meshes, true, task.space, voxel_mm=found.voxel_mm).is_free

    price = None
    if task.wishes is not None and outer:
        price = Worth(task, outer, found.voxel_mm, {k: volume_mm3(m) for k, m in task.meshes.items()})
    hold = Hold(
        task.wishes.extra_mm if task.wishes is not None else {},
        frozenset([*stand, *(p.piece for p in task.fixed), *(p.piece for p in outer if p.pinned)]),
        task.turning,
    )
    after = settle(
        {**task.meshes, **boxes}, [*outer, *places], task.space, task.clearance_mm,
        stop=rule, keep=is_free, hold=hold, price=price,
    )  # fmt: skip
    true = _without_boxes(after, found.placements, stand)
    height = max((p.z_max_mm for p in true), default=0.0)
    density = found.density * found.height_mm / height if height > 0 else found.density
    said = found.notes
    if found.height_mm - height >= SETTLE_TOLD.value:
        said = (*said, f"settled on the exact shapes: {found.height_mm:.1f} mm before, {height:.1f} mm now")
    return replace(found, placements=true, height_mm=height, density=density, notes=said)


def _key(place: ReservedPlace) -> str:
    return f"place {place.name}"


def _standing(place: ReservedPlace, placements: Sequence[Placement]) -> Placement:
    """A reserved place as a piece that stands still, as high as the specimen in it: empty it adds no height."""
    top = next((p.z_max_mm for p in placements if p.piece == place.name), 0.0)
    return Placement(place.name, _key(place), place.line, np.eye(3), np.zeros(3), place.low_mm[2], top)


def _without_boxes(
    placements: Sequence[Placement], before: Sequence[Placement], places: dict[str, ReservedPlace]
) -> tuple[Placement, ...]:
    """The pieces in their first order, specimens for the places they stand in."""
    now = {p.piece: p for p in placements if p.piece not in places}
    return tuple(now.get(p.piece, p) for p in before)
