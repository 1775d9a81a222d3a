"""How this person reads pages: language and lengths, from what the browser says and what was chosen.

English is in the templates. Another language is a catalogue `locale/<language>.po` beside this file, as gettext
writes it; `en-XA` is English with marks on every letter, made on the spot to see what is not translatable yet.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from contextvars import ContextVar
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from babel.core import Locale, UnknownLocaleError, negotiate_locale
from babel.messages.pofile import read_po
from fastapi import Request

from cakewright.web.sentence_book import likely
from cakewright.web.sentences import DAY, WEEK, YEAR, Ear, label, picture, spoken

HERE = Path(__file__).parent / "locale"
ENGLISH = "en"
PSEUDO = "en-XA"
LENGTHS = ("mm", "both", "inch")
MM_PER_INCH = 25.4  # exact since 1959
_MARKS = str.maketrans("aeiouyAEIOUYcnsz", "àéîöüýÀÉÎÖÜÝçñšž")
_COUNTED = re.compile(r"(\d+) ([a-z ]+)")
_KEPT = re.compile(r"(%\(\w+\)[sd]|%%|\{\w+\}|<[^>]*>|&\w+;)")


@dataclass(frozen=True)
class Speech:
    """A language with its texts, and how lengths are shown."""

    language: str = ENGLISH
    lengths: str = "mm"

    def gettext(self, text: str) -> str:
        """The text in this language, English where the catalogue has none."""
        return _say(self.language)(text)

    def ngettext(self, one: str, many: str, number: int) -> str:
        """The text for a number of things."""
        return _say(self.language)(one if number == 1 else many)

    def sentence(self, text: str) -> str:
        """A text that the program made, in this language and with lengths in its unit; what people wrote stays."""
        if self == _PLAIN or " " not in text:
            return text
        return spoken(text, self._ear())

    def label(self, text: str) -> str:
        """A word of a picture, in time to be measured or cut before it is drawn."""
        return text if self == _PLAIN else label(text, self._ear())

    def picture(self, svg: str) -> str:
        """Markup with pictures, what is written in them in this language and unit."""
        return svg if self == _PLAIN or "<svg" not in svg else picture(svg, self._ear())

    def _ear(self) -> Ear:
        length = None if self.lengths == "mm" else self.length
        say = _say_sentence(self.language)
        if self.language == ENGLISH:
            return Ear(say, length)
        return Ear(say, length, self._day, lambda text: self.word(text) if text.islower() else text, self._counted)

    def word(self, text: str) -> str:
        """A word or more that the program made: a kind, a state; a name is in no catalogue and stays."""
        return self.label(text) if " " in text else self.gettext(text)

    def _counted(self, text: str) -> str:
        """'3 pieces' with the word of the catalogue."""
        found = _COUNTED.fullmatch(text)
        if found is None:
            return text
        said = self.gettext(f"%(num)d {found[2]}")
        return text if said.endswith(f" {found[2]}") else said.replace("%(num)d", found[1])

    def _day(self, text: str) -> str:
        """'Tue 2 Mar 07:10' with the names of this language."""
        found = DAY.fullmatch(text)
        if self.language == PSEUDO or found is None:
            return pseudo(text)
        locale = Locale.parse(self.language.replace("-", "_"))
        day, date, month, clock = found.groups(default="")
        names = locale.months["format"]["abbreviated"]
        said = f" {names[YEAR.index(month.strip()) + 1]}" if month else ""
        return f"{locale.days['format']['abbreviated'][WEEK.index(day)]}{date}{said}{clock}"

    def length(self, mm: float, digits: int | None = 1) -> str:
        """'12.3 mm', '0.484 in' or both; without `digits` as short as it is exact. The data stays in millimetres."""
        metric = f"{mm:g} mm" if digits is None else f"{mm:.{digits}f} mm"
        inch = f"{mm / MM_PER_INCH:.3g} in" if digits is None else f"{mm / MM_PER_INCH:.{digits + 2}f} in"
        return {"inch": inch, "both": f"{metric} ({inch})"}.get(self.lengths, metric)

    def size(self, sides_mm: Sequence[float], digits: int = 1) -> str:
        """'12.0 × 8.0 × 3.5 mm', the same in inches, or both."""
        metric = " × ".join(f"{side:.{digits}f}" for side in sides_mm) + " mm"
        inch = " × ".join(f"{side / MM_PER_INCH:.{digits + 2}f}" for side in sides_mm) + " in"
        return {"inch": inch, "both": f"{metric} ({inch})"}.get(self.lengths, metric)


_PLAIN = Speech()
_SPEECH: ContextVar[Speech] = ContextVar("speech", default=_PLAIN)


def current() -> Speech:
    """How the person who asks for the page reads."""
    return _SPEECH.get()


def listen(request: Request) -> Speech:
    """Take language and lengths from a request, for the page that is drawn next."""
    chosen = request.cookies.get("language", "")
    asked = [chosen] if chosen in languages() else _accepted(request.headers.get("accept-language", ""))
    language = next((found for one in asked if (found := _known(one))), ENGLISH)
    lengths = request.cookies.get("lengths", "mm")
    speech = Speech(language, lengths if lengths in LENGTHS else "mm")
    _SPEECH.set(speech)
    return speech


async def hear(request: Request) -> None:
    """Before a page is made: its pictures are drawn in the language of who asks. Not a thread: it would keep that."""
    listen(request)


def languages() -> tuple[str, ...]:
    """English, every language with a catalogue, and the marked English."""
    return (ENGLISH, *sorted(p.stem for p in HERE.glob("*.po")), PSEUDO)


def read_ahead() -> None:
    """Read every catalogue and the sentences of the program, so that no first page in another language waits for it."""
    for language in languages():
        catalogue(language)
        sentence_catalogue(language)
    next(likely(""), None)


def _accepted(header: str) -> list[str]:
    """The languages of an Accept-Language header, best first."""
    found: list[tuple[float, int, str]] = []
    for part in header.split(",")[:20]:
        name, _, quality = part.strip().partition(";q=")
        try:
            weight = float(quality or 1)
        except ValueError:
            weight = 0.0
        if name and weight > 0:
            found.append((-weight, len(found), name))
    return [name for _, _, name in sorted(found)]


def _known(wanted: str) -> str | None:
    if wanted == PSEUDO:
        return PSEUDO
    known = [one.replace("-", "_") for one in languages() if one != PSEUDO]
    try:
        found = negotiate_locale([wanted.replace("-", "_"), wanted.partition("-")[0]], known)
    except (UnknownLocaleError, ValueError):
        return None
    return found.replace("_", "-") if found else None


@lru_cache(maxsize=16)
def catalogue(language: str) -> Mapping[str, str]:
    """The texts of a language by their English; empty for English."""
    return {} if language in (ENGLISH, PSEUDO) else _read(HERE / f"{language}.po")


@lru_cache(maxsize=16)
def _read(path: Path) -> Mapping[str, str]:
    if not path.exists():
        return {}
    texts: dict[str, str] = {}
    with path.open("rb") as file:
        for message in read_po(file):
            english = [message.id] if isinstance(message.id, str) else list(message.id)
            said = [message.string] if isinstance(message.string, str) else list(message.string or ())
            texts |= {str(one): str(other) for one, other in zip(english, said, strict=False) if one and other}
    return texts


def sentence_catalogue(language: str) -> Mapping[str, str]:
    """The sentences of the program in a language by their English; empty without a file."""
    return _read(HERE / "sentences" / f"{language}.po")


def pseudo(text: str) -> str:
    """English with marks on its letters and in brackets, placeholders and tags left alone."""
    kept = _KEPT.split(text)
    return "[" + "".join(part if i % 2 else part.translate(_MARKS) for i, part in enumerate(kept)) + "]"


def _say(language: str) -> Callable[[str], str]:
    if language == PSEUDO:
        return pseudo
    texts = catalogue(language)
    return lambda text: texts.get(text, text)


def _say_sentence(language: str) -> Callable[[str], str]:
    if language == PSEUDO:
        return pseudo
    texts = sentence_catalogue(language)
    return lambda text: texts.get(text, text)
