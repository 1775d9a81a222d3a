"""How pages are drawn: templates, and numbers as people say them."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from enum import StrEnum
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from fastapi import Request
from fastapi.responses import HTMLResponse
from jinja2 import Environment, PackageLoader, StrictUndefined, pass_context, select_autoescape
from jinja2.runtime import Context
from markupsafe import Markup, escape

from cakewright import __version__
from cakewright.documents import words
from cakewright.documents.heat_words import warp_note
from cakewright.safety import CLOSING, Work, cautions_of
from cakewright.web.marking import AutoText
from cakewright.web.speech import current, listen

HERE = Path(__file__).parent

PLACES = (  # what the menu shows: address below /plans/N, word (in the catalogue by its place here), shape beside it
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
        extensions=[AutoText, "jinja2.ext.i18n"],
        finalize=_in_words,
    )
    env.install_gettext_callables(  # type: ignore[attr-defined]
        lambda text: current().gettext(text), lambda one, many, n: current().ngettext(one, many, n), newstyle=True
    )
    plain: Any = env.globals["gettext"]

    @pass_context
    def gettext(context: Context, text: str, /, **values: Any) -> Any:
        return plain(context, text, **{name: _in_words(value) for name, value in values.items()})

    env.globals["gettext"] = gettext
    env.filters |= {
        "day": words.day,
        "clock": words.clock,
        "moment": words.moment,
        "duration": words.duration,
        "kg": words.kg,
        "percent": words.percent,
        "money": words.money,
        "listed": lambda items, word="and": words.listed([_in_words(one) for one in items], current().gettext(word)),
        "word": lambda value: current().word(str(value)),
        "mm": lambda value, digits=1: current().length(value, digits),
        "size": lambda sides, digits=1: current().size(sides, digits),
        "as_it_is": lambda value: Markup(escape(str(value) if isinstance(value, StrEnum) else value)),
        "quotable": lambda text: text.replace('"', "&quot;"),  # a translation inside an attribute
        "iso_local": iso_local,
        "label": lambda number: f"L{number:02d}",
    }
    env.globals |= {"cautions_of": cautions_of, "Work": Work, "safety_closing": CLOSING}
    env.globals |= {"places": PLACES, "program_version": __version__, "count": words.count, "warp_note": warp_note}
    return env


def _in_words(value: Any) -> Any:
    """What the program says (a kind of task, a state, a reason) as this person reads it; everything else as it is."""
    if isinstance(value, StrEnum):
        return current().gettext(str(value))
    if type(value) is Markup:
        return Markup(current().picture(str(value)))
    return current().sentence(value) if type(value) is str else value


def iso_local(when: datetime, zone: ZoneInfo) -> str:
    """'2027-03-01T06:40' in the cell's time: what a date field of a form takes and gives."""
    return when.astimezone(zone).strftime("%Y-%m-%dT%H:%M")


ENVIRONMENT = _environment()


def page(request: Request, template: str, *, status: int = 200, **shown: Any) -> HTMLResponse:
    """Draw a template; `request` gives the address, `shown` the content."""
    account = getattr(request.state, "account", None)
    always = {"path": request.url.path, "account": account, "plan": None, "here": "", "summaries": ()}
    speech = listen(request)
    known: Mapping[str, Any] = {**always, "speech": speech, **shown}
    return HTMLResponse(ENVIRONMENT.get_template(template).render(known), status_code=status)
