"""Batches nested quickly: enough to know their hours, several side by side, each set of pieces once."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field

from cakewright.app.cages import Cages
from cakewright.app.crew import Crew, results
from cakewright.app.plan_build import Batch, nest_batch, quick_cooling
from cakewright.app.shared_meshes import HERE
from cakewright.model.build import Cooling, LayerProfile, Nest
from cakewright.model.cell import Cell
from cakewright.model.mesh import FloatArray
from cakewright.model.part import Part
from cakewright.physics.layers import layer_profile
from cakewright.stopping import MaxSteps


@dataclass(frozen=True, eq=False)
class Draft:
    """A batch nested quickly: enough to know its hours."""

    batch: Batch
    nest: Nest
    profile: LayerProfile
    cooling: Cooling

    @property
    def key(self) -> str:
        """Key of the batch."""
        return self.batch.key

    @property
    def lines(self) -> tuple[int, ...]:
        """Order lines in it."""
        return self.batch.lines

    @property
    def pieces(self) -> int:
        """Pieces placed."""
        return sum(not p.is_cage for p in self.nest.placements)

    @property
    def machine(self) -> str:
        """Machine the batch was proposed for."""
        return self.batch.machine.name


@dataclass(eq=False)
class Drafts:
    """Makes drafts and keeps them: the same pieces are nested once, whatever their batch is called.

    `workers` are made at a time on this computer; with a `crew` it makes them. The answers are the same: a draft is
    searched by steps, with one seed.
    """

    cell: Cell
    parts: Mapping[str, Part]
    rotations: Mapping[str, FloatArray]
    seed: int
    cages: Cages
    workers: int = 1
    crew: Crew | None = None
    _made: dict[frozenset[str], tuple[Nest, LayerProfile, Cooling]] = field(default_factory=dict)

    def of(self, batches: Sequence[Batch]) -> list[Draft]:
        """The drafts of all batches, in order."""
        missing = {_pieces(batch): batch for batch in batches if _pieces(batch) not in self._made}
        self._made.update(zip(missing, self._all(list(missing.values())), strict=True))
        return [Draft(batch, *self._made[_pieces(batch)]) for batch in batches]

    def _all(self, batches: Sequence[Batch]) -> Iterable[tuple[Nest, LayerProfile, Cooling]]:
        if self.crew is not None:
            return list(results(self.crew, draft_elsewhere, [self._asked(batch, Cages()) for batch in batches]))
        asked = [self._asked(batch, self.cages.trial()) for batch in batches]
        if self.workers < 2 or len(asked) < 2:
            return [draft_of(*one) for one in asked]
        with ThreadPoolExecutor(min(self.workers, len(asked))) as pool:  # the compiled search lets others run
            return list(pool.map(lambda one: draft_of(*one), asked))

    def _asked(
        self, batch: Batch, cages: Cages
    ) -> tuple[Batch, dict[str, Part], dict[str, FloatArray], Cell, int, Cages]:
        keys = {piece.part_key for piece in batch.pieces}
        parts = {key: self.parts[key] for key in keys}
        return batch, parts, {key: self.rotations[key] for key in keys}, self.cell, self.seed, cages


def draft_of(
    batch: Batch, parts: Mapping[str, Part], rotations: Mapping[str, FloatArray], cell: Cell, seed: int, cages: Cages
) -> tuple[Nest, LayerProfile, Cooling]:
    """Nest a batch without improving it, slice it and let it cool."""
    machine = batch.machine
    nest = nest_batch(batch, parts, rotations, cell, stop=MaxSteps(0), seed=seed, cages=cages)
    known = {**parts, **cages.parts}
    meshes = {p.part_key: known[p.part_key].mesh for p in nest.placements}
    height = max(nest.height_mm, machine.layer_mm)
    profile = layer_profile(meshes, nest.placements, machine.layer_mm, height)
    return nest, profile, quick_cooling(profile, machine, cell)


def draft_elsewhere(
    batch: Batch, parts: Mapping[str, Part], rotations: Mapping[str, FloatArray], cell: Cell, seed: int, cages: Cages
) -> tuple[Nest, LayerProfile, Cooling]:
    """What `draft_of` gives, in a worker that was sent its own copies and remembers the parts it has seen."""
    return draft_of(batch, HERE.parts(parts), rotations, cell, seed, cages)


def _pieces(batch: Batch) -> frozenset[str]:
    return frozenset(p.piece for p in batch.pieces)
