"""The nest of each batch as its lines wish, several side by side where the computer has the cores."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace

from cakewright.app.cages import Cages
from cakewright.app.crew import Crew, results
from cakewright.app.effort import Effort
from cakewright.app.line_flags import specimen_lines
from cakewright.app.nest_wishes import wishes_for, witness_places
from cakewright.app.plan_build import Batch, nest_batch, nest_space
from cakewright.app.progress import Progress
from cakewright.app.shared_meshes import HERE
from cakewright.model.build import Nest
from cakewright.model.cell import Cell
from cakewright.model.mesh import FloatArray
from cakewright.model.order import OrderLine
from cakewright.model.part import Part
from cakewright.nesting.wishes import ReservedPlace
from cakewright.sources.wishes import WITNESS_HEIGHT


@dataclass(frozen=True, eq=False)
class Nester:
    """What every nest of a plan needs; `threads` search for one nest at once."""

    lines: Sequence[OrderLine]
    parts: Mapping[str, Part]
    rotations: Mapping[str, FloatArray]
    cell: Cell
    effort: Effort
    seed: int
    cages: Cages
    threads: int = 1

    def nest(self, batch: Batch) -> Nest:
        """The nest of a batch; test specimens low, in the middle and high when that costs next to no height.

        With specimens the batch is nested twice, because their places follow from the height of the first nest.
        """
        plain = self._nest(batch, ())
        places = self._places(batch, plain)
        if not places:
            return plain
        names = {place.name for place in places}
        others = replace(batch, pieces=tuple(p for p in batch.pieces if p.piece not in names))
        placed = self._nest(others, places)
        if placed.left_out or placed.height_mm > WITNESS_HEIGHT.value * plain.height_mm:
            return replace(plain, notes=(*plain.notes, "wish not reached: no room for specimens low, middle and high"))
        said = f"specimens {', '.join(sorted(names))} stand in places kept free from the floor to the top"
        return replace(placed, seconds=plain.seconds + placed.seconds, notes=(*placed.notes, said))

    def only(self, batch: Batch) -> Nester:
        """With the parts of one batch only, and cages of its own: what another computer needs to nest it."""
        keys = {piece.part_key for piece in batch.pieces}
        return replace(
            self,
            lines=[line for line in self.lines if line.line in batch.lines],
            parts={key: part for key, part in self.parts.items() if key in keys},
            rotations={key: turns for key, turns in self.rotations.items() if key in keys},
            cages=Cages(),
        )

    def _nest(self, batch: Batch, places: Sequence[ReservedPlace]) -> Nest:
        return nest_batch(
            batch,
            self.parts,
            self.rotations,
            self.cell,
            stop=self.effort.nest(),
            seed=self.seed,
            wishes=wishes_for(batch.pieces, self.parts, self.cell, reserved=places),
            arrange_stop=self.effort.arrange(),
            settle_stop=self.effort.settle(),
            straight=specimen_lines(self.lines),
            cages=self.cages,
            workers=self.threads,
        )

    def _places(self, batch: Batch, plain: Nest) -> tuple[ReservedPlace, ...]:
        wanted = specimen_lines(self.lines) - batch.caged
        pieces = [p for p in batch.pieces if p.line in wanted]
        if not pieces or len(pieces) == len(batch.pieces) or plain.left_out:
            return ()
        space = nest_space(self.cell.chamber_type(batch.machine.chamber_type), batch.machine)
        meshes = {p.part_key: self.parts[p.part_key].mesh for p in pieces}
        return witness_places(pieces, meshes, self.rotations, space, plain.height_mm)


def nest_elsewhere(nester: Nester, batch: Batch) -> tuple[Nest, Cages]:
    """The nest of a batch and the cages it was given, made wherever this is called."""
    nester = replace(nester, parts=HERE.parts(nester.parts))
    return nester.nest(batch), nester.cages


def nests_of(
    batches: Sequence[Batch], nester: Nester, workers: int, progress: Progress, crew: Crew | None = None
) -> Iterator[tuple[int, Nest]]:
    """The nests of all batches with their numbers, in order; `workers` at a time, one after the other for 1.

    Where there are more workers than builds and the effort is counted by the clock, several search for one nest.
    Threads are enough here: the compiled search lets others run. With a `crew` they are handed out to it. The answers
    do not depend on who makes them when the effort counts steps.
    """
    if crew is not None:
        calls = [(nester.only(batch), batch) for batch in batches]
        for n, (placed, cages) in enumerate(results(crew, nest_elsewhere, calls)):
            progress("nesting builds", n, len(batches), f"{len(batches[n].pieces)} pieces, on the cluster")
            nester.cages.take(cages)
            yield n, placed
        return
    if nester.effort.by_clock and batches:
        nester = replace(nester, threads=max(1, workers // len(batches)))
    if workers < 2 or len(batches) < 2:
        for n, batch in enumerate(batches):
            progress("nesting builds", n, len(batches), f"{len(batch.pieces)} pieces")
            yield n, nester.nest(batch)
        return
    with ThreadPoolExecutor(min(workers, len(batches))) as pool:
        futures = [pool.submit(nester.nest, batch) for batch in batches]
        try:
            for n, future in enumerate(futures):
                progress("nesting builds", n, len(batches), f"{len(batches[n].pieces)} pieces, {workers} at a time")
                yield n, future.result()
        finally:
            for future in futures:
                future.cancel()
