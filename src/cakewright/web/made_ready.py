"""What the first page would wait for is done before a server answers: routes, templates, languages."""

from __future__ import annotations

from fastapi import FastAPI
from starlette.types import Scope

from cakewright.web.look import ENVIRONMENT
from cakewright.web.speech import read_ahead

NOWHERE: Scope = {
    "type": "http", "method": "GET", "path": "/nowhere", "root_path": "", "headers": [], "query_string": b"",
}  # fmt: skip
FIRST_PAGE = ("marks.html", "base.html", "morning.html")


def make_ready(app: FastAPI) -> None:
    """Build every route, compile the first page, read every catalogue: all of it would be done when first asked for.

    An address that no route has is held against all of them, for a route is built when it is first held against one.
    """
    for route in app.routes:
        route.matches(NOWHERE)
    for name in FIRST_PAGE:
        ENVIRONMENT.get_template(name)
    read_ahead()
