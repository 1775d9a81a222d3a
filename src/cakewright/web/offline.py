"""What makes the pages installable and readable without a network: the worker script and the manifest."""

from __future__ import annotations

from pathlib import Path

from fastapi import APIRouter
from fastapi.responses import JSONResponse, Response

router = APIRouter(include_in_schema=False)
STATIC = Path(__file__).parent / "static"


@router.get("/worker.js")
def worker() -> Response:
    """The worker script, from the root so that it serves every page."""
    text = (STATIC / "worker.js").read_text(encoding="utf-8")
    return Response(text, media_type="text/javascript", headers={"cache-control": "no-cache"})


@router.get("/manifest.webmanifest")
def manifest() -> Response:
    """Name, colours and picture for the home screen of a tablet."""
    icon = {"src": "/static/cake.svg", "sizes": "any", "type": "image/svg+xml", "purpose": "any"}
    content = {
        "name": "cakewright",
        "short_name": "cakewright",
        "start_url": "/",
        "display": "standalone",
        "background_color": "#f4f1ea",
        "theme_color": "#0a5560",
        "icons": [icon],
    }
    return JSONResponse(content, media_type="application/manifest+json")
