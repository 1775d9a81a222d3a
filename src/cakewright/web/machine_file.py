"""The file of a build for its machine, drawn when it is asked for, with the scale that is in effect for the build."""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import Annotated

from fastapi import APIRouter, Depends
from fastapi.responses import Response

from cakewright.app.scale_in_effect import export_build
from cakewright.web.shelf import Shelf, build_of, shelf_of
from cakewright.web.trouble import NotThereError

pages = APIRouter(include_in_schema=False)
Plans = Annotated[Shelf, Depends(shelf_of)]
KINDS = {"3mf": "model/3mf", "stl": "model/stl"}


@pages.get("/plans/{version}/builds/{key}/machine-file/{name}.{kind}")
def machine_file(shelf: Plans, version: int, key: str, name: str, kind: str) -> Response:
    """The 3MF with named pieces, or all of it as one STL."""
    plan = shelf.plan(version)
    build_of(plan, key)
    if kind not in KINDS or name != key:
        raise NotThereError(f"there is no file {name[:20]}.{kind[:8]}", remedy=f"{key}.3mf or {key}.stl")
    with tempfile.TemporaryDirectory(prefix="cakewright-export-") as folder:
        files = {path.suffix[1:]: path for path in export_build(shelf.store, plan, key, Path(folder))}
        content = files[kind].read_bytes()
    said = f'attachment; filename="plan-{version:03d}-{files[kind].name}"'
    return Response(content, media_type=KINDS[kind], headers={"content-disposition": said})
