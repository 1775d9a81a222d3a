"""What others have added since a page was opened: asked every few seconds, whichever server they work on."""

from __future__ import annotations

from dataclasses import asdict

from fastapi import APIRouter, Request

from cakewright.web.watch import Watch

router = APIRouter(include_in_schema=False)


@router.get("/marks")
def marks(request: Request) -> dict[str, int]:
    """Numbers that grow with every plan, note, movement of powder and answer to a quote."""
    watch = request.app.state.watch
    assert isinstance(watch, Watch)
    return asdict(watch.marks())
