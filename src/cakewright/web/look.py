"""How pages are drawn: templates, and numbers as people say them."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from fastapi import Request
from fastapi.responses import HTMLResponse
from jinja2 import Environment, PackageLoader, StrictUndefined, select_autoescape

from cakewright import __version__
from cakewright.documents import words
from cakewright.documents.heat_words import warp_note

HERE = Path(__file__).parent

PLACES = (  # what the menu shows: address below /plans/N, word, shape beside it
    ("", "Morning", "sun"),
    ("/lines", "Lines", "list"),
    ("/builds", "Builds", "cube"),
    ("/calendar", "Calendar", "bars"),
    ("/powder", "Powder", "drop"),
    ("/papers", "Papers", "sheet"),
)


def _environment() -> Environment:
    env = Environment(
        loader=PackageLoader("cakewright.web"),
        autoescape=select_autoescape(default=True, default_for_string=True),
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    env.filters |= {
        "day": words.day,
        "clock": words.clock,
        "moment": words.moment,
        "duration": words.duration,
        "kg": words.kg,
        "percent": words.percent,
        "money": words.money,
        "listed": words.listed,
        "mm": lambda value: f"{value:.1f} mm",
        "iso_local": iso_local,
        "label": lambda number: f"L{number:02d}",
    }
    env.globals |= {"places": PLACES, "program_version": __version__, "count": words.count, "warp_note": warp_note}
    return env


def iso_local(when: datetime, zone: ZoneInfo) -> str:
    """'2027-03-01T06:40' in the cell's time: what a date field of a form takes and gives."""
    return when.astimezone(zone).strftime("%Y-%m-%dT%H:%M")


ENVIRONMENT = _environment()


def page(request: Request, template: str, *, status: int = 200, **shown: Any) -> HTMLResponse:
    """Draw a template; `request` gives the address, `shown` the content."""
    account = getattr(request.state, "account", None)
    always = {"path": request.url.path, "account": account, "plan": None, "here": "", "summaries": ()}
    known: Mapping[str, Any] = {**always, **shown}
    return HTMLResponse(ENVIRONMENT.get_template(template).render(known), status_code=status)
