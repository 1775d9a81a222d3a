"""`cakewright faces`: which faces of a part must look good."""

from __future__ import annotations

from typing import Annotated

import typer

from cakewright.cli.database import DEFAULT, Db


def faces(
    part: Annotated[str, typer.Argument(help="Name of the part, as on the order line.")],
    revision: Annotated[str | None, typer.Option("--revision", help="Its revision, where several are known.")] = None,
    mark: Annotated[str, typer.Option("--mark", help="Numbers of the faces that must look good, such as 1,4.")] = "",
    none: Annotated[bool, typer.Option("--none", help="No face matters more than the others.")] = False,
    by: Annotated[str, typer.Option("--by", help="Your name; needed to keep marks.")] = "",
    db: Db = DEFAULT,
) -> None:
    """List the faces of a part, mark those that must look good, and see which way up follows.

    Marks are kept for the part revision; steps on slopes are then counted on marked faces only.
    """
    from datetime import UTC, datetime

    from cakewright.app.mark_faces import (
        faces_listed,
        mark_faces,
        marked_faces,
        numbers_marked,
        part_named,
        places_of,
    )
    from cakewright.app.report_part import Looks, best_turns
    from cakewright.app.serve import check_database
    from cakewright.cli.check import numbers_in
    from cakewright.cli.screen import console
    from cakewright.documents.part_faces import looks_where
    from cakewright.store import open_store

    numbers = numbers_in(mark, "--mark")
    check_database(db)
    with open_store(db) as store:
        plan = store.load_plan()
        found = part_named(plan, part, revision)
        if numbers or none:
            mark_faces(store, found, numbers, by=by, at=datetime.now(UTC))
        marked = marked_faces(store, found)
    on = numbers_marked(found, marked)
    for face in faces_listed(found):
        sign = "*" if face.number in on else " "
        at = ", ".join(f"{v:.1f}" for v in face.at_mm)
        console.print(f"{sign}{face.number:3d}  {face.area_mm2 / 100:8.1f} cm²  {looks_where(face):12s} at {at}",
                      markup=False, soft_wrap=True)  # fmt: skip
    line = next(n for n, key in plan.part_of_line.items() if plan.parts[key] is found)
    console.print("Which way up:")
    looks = Looks(faces=places_of(marked))
    for n, turn in enumerate(best_turns(found, plan.cell, plan.line(line).material, looks), start=1):
        console.print(f"{n}. {turn.reason}", markup=False, soft_wrap=True)


def register(cli: typer.Typer) -> None:
    """Hang the command into the program."""
    cli.command("faces", rich_help_panel="Before the week")(faces)
