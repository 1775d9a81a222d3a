"""How pages are shown to this person: language and lengths, kept in the browser; and the texts of the scripts."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Annotated

from babel.core import Locale, UnknownLocaleError
from fastapi import APIRouter, Form, Query, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from cakewright.errors import InputError
from cakewright.web.guard import inside
from cakewright.web.look import page
from cakewright.web.speech import LENGTHS, PSEUDO, Speech, languages
from cakewright.web.trouble import NotThereError

router = APIRouter(include_in_schema=False)
SCRIPTS = Path(__file__).parent / "static"
YEAR_S = 365 * 24 * 3600
_SAY = re.compile(r'\bsay\(\s*"((?:[^"\\]|\\.)*)"')


@router.get("/display")
def display(request: Request, to: Annotated[str, Query(max_length=300)] = "/") -> HTMLResponse:
    """What can be chosen."""
    return page(request, "display.html", to=inside(to), named=[(one, _name(one)) for one in languages()])


@router.post("/display")
def choose(
    language: Annotated[str, Form(max_length=20)] = "",
    lengths: Annotated[str, Form(max_length=8)] = "mm",
    to: Annotated[str, Form(max_length=300)] = "/",
) -> Response:
    """Keep the choice in this browser; an empty language follows what the browser asks for."""
    if language not in ("", *languages()) or lengths not in LENGTHS:
        raise InputError("that cannot be chosen", remedy="choose one on the page", where="display")
    answer = RedirectResponse(inside(to), status_code=303)
    for name, value in (("language", language), ("lengths", lengths)):
        if value:
            answer.set_cookie(name, value, max_age=YEAR_S, samesite="strict")
        else:
            answer.delete_cookie(name)
    return answer


@router.get("/words/{language}.js")
def words(language: str) -> Response:
    """The texts of the scripts in another language."""
    if language not in languages():
        raise NotThereError(f"there are no texts in {language[:20]!r}", remedy="choose one of the languages")
    speech = Speech(language)
    texts = json.dumps({text: speech.gettext(text) for text in script_texts()}, ensure_ascii=True)
    return Response(f"window.catalogue = {texts};\n", media_type="text/javascript; charset=utf-8")


def script_texts() -> tuple[str, ...]:
    """Every text that our scripts say."""
    found = {
        json.loads(f'"{text}"'): None
        for path in sorted(SCRIPTS.glob("*.js"))
        for text in _SAY.findall(path.read_text(encoding="utf-8"))
    }
    return tuple(found)


def _name(language: str) -> str:
    if language == PSEUDO:
        return "English, marked"
    try:
        return str(Locale.parse(language.replace("-", "_")).get_display_name() or language)
    except (UnknownLocaleError, ValueError):
        return language
