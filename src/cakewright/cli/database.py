"""The one way in which every command is told where the plans are: a file, or the address of a server."""

from __future__ import annotations

from typing import Annotated

import typer

VARIABLE = "CAKEWRIGHT_DB"
DEFAULT = "plans/cakewright.sqlite"
Db = Annotated[
    str,
    typer.Option(
        "--db",
        envvar=VARIABLE,
        metavar="DATABASE",
        help="The database of your plans: a file, or postgresql://name@host/database.",
    ),
]
