"""The cell as its own records show it: what every plan starts from."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from cakewright.app.finish_effect import with_finish_effects
from cakewright.app.learn_cooling import with_learnt_cooling
from cakewright.app.learn_times import with_learnt_times
from cakewright.app.scale_change import with_approved_scale
from cakewright.app.trained_cell import with_training
from cakewright.app.upkeep import with_noted_service
from cakewright.model.cell import Cell
from cakewright.store import Store, open_store
from cakewright.store.engine import is_missing


def learnt_cell(cell: Cell, database: str | Path) -> Cell:
    """The cell with machine times and cooling speeds learnt from the records in `database`, if there is one."""
    if is_missing(database):
        return cell
    with open_store(database) as store:
        return as_recorded(cell, store)


def as_recorded(cell: Cell, store: Store) -> Cell:
    """The cell with what `store` has learnt about it. Doing it twice changes nothing more."""
    fits, speeds = store.physics.fits(), store.physics.speeds()
    return replace(
        with_training(cell, store),
        machines=tuple(
            with_approved_scale(with_noted_service(with_learnt_times(m, fits), store), store) for m in cell.machines
        ),
        chamber_types=tuple(with_learnt_cooling(c, speeds, cell) for c in cell.chamber_types),
        finishes=with_finish_effects(cell.finishes, store),
    )


def learnt_words(cell: Cell) -> tuple[str, ...]:
    """What differs from the cell file because the cell learnt it, in words for a person."""
    words = []
    for m in cell.machines:
        if m.time_factors != (1.0, 1.0, 1.0, 1.0) or m.time_spread:
            fixed, recoat, hatch, outline = m.time_factors
            words.append(
                f"{m.name}: times from its job logs: warm-up and end x {fixed:.2f}, recoat x {recoat:.2f}, hatching "
                f"x {hatch:.2f}, outlines x {outline:.2f}; spread {m.time_spread:.1%}"
            )
    for f in cell.finishes:
        if f.face_mm:
            words.append(f"finish {f.name}: each face {f.face_mm:+.3f} mm, counted in the limits of its lines")
    for c in cell.chamber_types:
        if c.cooling_speed != 1.0 or c.cooling_spread:
            words.append(
                f"chamber {c.name}: cools {c.cooling_speed:.2f} times as fast as computed without probes, "
                f"early and late case a factor {c.cooling_spread or 1:.2f} apart"
            )
    return tuple(words)
