"""Say which faces of a part must look good; kept for its revision, used when it is asked which way up."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from cakewright.app.part_records import title_of
from cakewright.documents.part_faces import shown_faces
from cakewright.documents.part_views import PartViews
from cakewright.errors import InputError
from cakewright.model.part import Part
from cakewright.model.plan import WeekPlan
from cakewright.parts.faces import Face, Place, faces_of
from cakewright.store import Store
from cakewright.store.parts import MarkedFaces


def mark_faces(store: Store, part: Part, numbers: Sequence[int], *, by: str, at: datetime) -> MarkedFaces:
    """Keep the faces with these numbers (of `faces_of`) for the part's revision; none: no face matters more."""
    listed = {f.number: f for f in faces_of(part.mesh)}
    unknown = [n for n in numbers if n not in listed]
    if unknown:
        raise InputError(f"the part has no face {unknown[0]}", remedy=f"choose from 1 to {len(listed)}", where="faces")
    places = tuple(listed[n].at_mm for n in dict.fromkeys(numbers))
    store.parts.add_faces(name=part.name, revision=part.revision, places=places, by=by, at=at)
    return MarkedFaces(part.name, part.revision, places, by.strip(), at)


def faces_listed(part: Part) -> tuple[Face, ...]:
    """The faces that can be marked, largest first."""
    return faces_of(part.mesh)


def marked_faces(store: Store, part: Part) -> MarkedFaces | None:
    """The newest word about the faces of this revision, None when nobody has said anything."""
    wanted = title_of(part.name, part.revision)
    mine = [m for m in store.parts.faces() if title_of(m.name, m.revision) == wanted]
    return mine[-1] if mine else None


def places_of(marked: MarkedFaces | None) -> tuple[Place, ...]:
    """The marked places, empty without."""
    return () if marked is None else marked.places


def marked_by_file(store: Store) -> dict[str, tuple[Place, ...]]:
    """The marked places of every file that a plan was made with, by the hash of the file."""
    newest = {title_of(m.name, m.revision): m.places for m in store.parts.faces()}
    seen = {part.file_sha256: newest.get(title_of(part.name, part.revision), ()) for part in store.parts.seen()[::-1]}
    return {sha256: places for sha256, places in seen.items() if places}


def numbers_marked(part: Part, marked: MarkedFaces | None) -> tuple[int, ...]:
    """The numbers that the marked faces have in the list now."""
    if marked is None or not marked.places:
        return ()
    return shown_faces(part.mesh, marked.places).marked


def faces_png(part: Part, places: Sequence[Place] = ()) -> bytes:
    """The part from the front left and from behind, each face with its number, those at `places` coloured."""
    closed = part.measures.is_watertight and part.measures.is_oriented
    return shown_faces(part.mesh, places).picture(PartViews(part.mesh, is_closed=closed)).png


def part_named(plan: WeekPlan, name: str, revision: str | None) -> Part:
    """The part of a plan by its name, and revision where several have it. InputError when it is not one."""
    found = [p for p in plan.parts.values() if p.name.casefold() == name.strip().casefold()]
    if revision is not None:
        found = [p for p in found if p.revision.casefold() == revision.strip().casefold()]
    if len(found) != 1:
        known = ", ".join(sorted({f"{p.name} {p.revision}".strip() for p in (found or plan.parts.values())})[:12])
        raise InputError(
            f"{len(found)} parts are called {name!r} in plan {plan.version}", remedy=f"name one of: {known}"
        )
    return found[0]
