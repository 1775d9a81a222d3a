"""The lowest nest we know how to make: exact for few simple pieces, else by cells and then settled."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

from cakewright.model.build import Nest, Placement
from cakewright.nesting.few import is_few, nest_few
from cakewright.nesting.search import nest
from cakewright.nesting.separable import removal
from cakewright.nesting.settle import settle
from cakewright.nesting.task import NestTask
from cakewright.sources.nesting_exact import SETTLE_ROUNDS
from cakewright.stopping import MaxSteps, Stop


def nest_tight(
    task: NestTask, *, stop: Stop, seed: int, progress: Callable[[int, float], None] | None = None, workers: int = 1
) -> Nest:
    """Place the pieces of `task` as low as possible; the same promise as `search.nest`.

    Few pieces that are unions of a few convex ones are nested on their exact shapes (`few.nest_few`), all others by
    cells and then settled (`settle.settle`), keeping the clearance and the way out of every piece. A task with
    wishes beyond the height goes to `search.nest` alone: settling knows nothing of them.
    """
    if task.wishes is not None:
        return nest(task, stop=stop, seed=seed, progress=progress, workers=workers)
    if is_few(task):
        return nest_few(task, stop=stop, seed=seed, progress=progress)
    return settled(task, nest(task, stop=stop, seed=seed, progress=progress, workers=workers))


def settled(task: NestTask, found: Nest, *, stop: Stop | None = None) -> Nest:
    """A nest settled on the exact meshes, as far as everything can still be taken out; never higher than before.

    The nest of a task with wishes comes back as it is.
    """
    if task.wishes is not None:
        return found

    def is_free(placements: Sequence[Placement]) -> bool:
        return removal(task.meshes, placements, task.space, voxel_mm=found.voxel_mm).is_free

    rule = MaxSteps(int(SETTLE_ROUNDS.value)) if stop is None else stop
    after = settle(task.meshes, found.placements, task.space, task.clearance_mm, stop=rule, keep=is_free)
    height = max((p.z_max_mm for p in after), default=0.0)
    density = found.density * found.height_mm / height if height > 0 else found.density
    return replace(found, placements=after, height_mm=height, density=density)
