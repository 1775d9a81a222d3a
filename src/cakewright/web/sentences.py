"""Sentences that the program makes (reasons, findings, what to do) in another language, and their lengths in inches.

The domains write plain English into plans and records, which are kept for years. Where a page prints such a text it
is recognised again by the sentence of the program it was made from: the literals and f-strings of the domains' own
sources are the message ids, what stood in the braces are the values. A translation `locale/sentences/<language>.po`
says them anew. What is not recognised (a part name, a remark somebody typed) stays exactly as it is.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

ROOT = Path(__file__).parent.parent
MAKERS = ("app", "cost", "formats", "model", "nesting", "parts", "physics", "powder", "quality", "schedule")
LEAST_LETTERS = 7  # with fewer letters outside the braces a sentence would be found everywhere:
LEAST_BESIDE, FOR_EACH_VALUE = 6, 2  # beside values so many, and so many more for each of them
DEEPEST = 3
_BRACES = re.compile(r"\{(\w+)\}")
_SPLITS = ("; ", ". ", ": ", ", ")
_NUMBER = r"\d+(?:\.\d+)?"
_MEASURE = re.compile(rf"{_NUMBER} mm(?:, at (?:least|most) {_NUMBER} mm)?")
_MM = re.compile(rf"\ue000[^\ue001]*\ue001|(?<![\w.,-])(-?{_NUMBER}) mm(?![\w²³/])")
_WEEK, _YEAR = "Mon|Tue|Wed|Thu|Fri|Sat|Sun", "Jan|Feb|Mar|Apr|May|Jun|Jul|Aug|Sep|Oct|Nov|Dec"
DAY = re.compile(rf"({_WEEK})( \d{{1,2}})?( (?:{_YEAR}))?(,? \d\d:\d\d)?")
WEEK, YEAR = _WEEK.split("|"), _YEAR.split("|")
Length = Callable[[float, int], str]
Say = Callable[[str], str]


@dataclass(frozen=True, slots=True)
class Sentence:
    """One sentence of the program: its message id with {names}, what finds it quickly, and what takes it apart."""

    text: str
    anchor: str
    pattern: str
    letters: int


@lru_cache(maxsize=1)
def sentences() -> tuple[Sentence, ...]:
    """Every sentence of the program, the most particular first."""
    found = {text: None for path in _sources() for text in sentences_in(path.read_text(encoding="utf-8"))}
    made = [_sentence(text) for text in found]
    return tuple(sorted((s for s in made if s.letters >= _least(s)), key=lambda s: -s.letters))


def _least(one: Sentence) -> int:
    values = len(_BRACES.findall(one.text))
    return LEAST_LETTERS if not values else LEAST_BESIDE + FOR_EACH_VALUE * values


def _sources() -> Iterator[Path]:
    for folder in MAKERS:
        yield from sorted((ROOT / folder).rglob("*.py"))
    yield ROOT / "safety.py"
    yield ROOT / "documents" / "traveller.py"  # the checks before a print


def sentences_in(source: str) -> Iterator[str]:
    """The message ids of a module: literals and f-strings of two words and more, docstrings left out."""
    tree = ast.parse(source)
    nodes = list(ast.walk(tree))
    silent = {id(n.value) for n in nodes if isinstance(n, ast.Expr)}  # docstrings
    silent |= {id(c) for n in nodes if isinstance(n, ast.JoinedStr) for c in n.values}
    for node in nodes:
        if id(node) in silent:
            continue
        if isinstance(node, ast.Constant) and isinstance(node.value, str):
            text = node.value.replace("{", "(").replace("}", ")")
        elif isinstance(node, ast.JoinedStr):
            text = _message(node)
        else:
            continue
        if re.search(r"[a-z]{2,} |[a-z]{2,}$", text) and " " in text.strip() and "\n" not in text:
            yield text.strip().rstrip(".")


def _message(node: ast.JoinedStr) -> str:
    """An f-string with names in its braces, each once."""
    out, taken = "", set[str]()
    for part in node.values:
        if isinstance(part, ast.Constant):
            out += str(part.value).replace("{", "(").replace("}", ")")
            continue
        inside = list(ast.walk(part))
        words = [n.attr for n in inside if isinstance(n, ast.Attribute)] + [
            n.id for n in inside if isinstance(n, ast.Name)
        ]
        first = words[0].strip("_") if words else "value"
        name = next(n for n in (first, *(f"{first}_{i}" for i in range(2, 99))) if n not in taken)
        taken.add(name)
        out += f"{{{name}}}"
    return out


def _sentence(text: str) -> Sentence:
    pieces = _BRACES.split(text)
    literal = pieces[::2]
    pattern = "".join(re.escape(p) if i % 2 == 0 else "(.*?)" for i, p in enumerate(pieces))
    anchor = max(literal, key=len)
    return Sentence(text, anchor, pattern, sum(c.isalpha() for p in literal for c in p))


def spoken(text: str, say: Say, length: Length | None = None, day: Say | None = None) -> str:
    """A text as this person reads it: recognised sentences through `say`, their millimetres through `length`.

    `say` gives the message in another language for a message id, or the id itself; `day` does so for 'Tue 2 Mar 07:10'.
    """
    return _spoken(text, _Ear(say, length, day), DEEPEST)


@dataclass(frozen=True, slots=True)
class _Ear:
    """How a person reads: messages, lengths (None: as written), days (None: as written)."""

    say: Say
    length: Length | None
    day: Say | None


def _spoken(text: str, ear: _Ear, deep: int) -> str:
    if deep < 0 or " " not in text:
        return text
    if ear.day is not None and DAY.fullmatch(text):
        return ear.day(text)
    if _MEASURE.fullmatch(text):
        return _MM.sub(lambda m: _inch(m, ear.length), text)
    stem = text.rstrip(".")
    found = _recognised(stem)
    if found is not None:
        return _said(found, ear, deep) + text[len(stem) :]
    for split in _SPLITS:
        head, at, tail = text.partition(split)
        while at:
            first = _spoken(head, ear, deep - 1)
            if first != head or _recognised(head.rstrip(".")):
                return first + at + _spoken(tail, ear, deep)
            more, at, tail = tail.partition(split)
            head = f"{head}{split}{more}"
    return text


@lru_cache(maxsize=8192)
def _recognised(text: str) -> tuple[str, tuple[str, ...]] | None:
    """The message id a text was made from, and its values."""
    for one in sentences():
        if one.anchor not in text or not (match := re.fullmatch(one.pattern, text, re.S)):
            continue
        if not any(stop in value for value in match.groups() for stop in ("; ", ". ")):  # a value is no two sentences
            return one.text, match.groups()
    return None


def _said(found: tuple[str, tuple[str, ...]], ear: _Ear, deep: int) -> str:
    message, values = found
    named: Mapping[str, str] = dict(zip(_BRACES.findall(message), values, strict=True))

    def value(match: re.Match[str]) -> str:
        told = named.get(match[1], match[0])
        if re.fullmatch(_NUMBER, told):
            return told
        return f"\ue000{_spoken(told, ear, deep - 1)}\ue001"

    text = _MM.sub(lambda m: _inch(m, ear.length), _BRACES.sub(value, ear.say(message)))
    return text.replace("\ue000", "").replace("\ue001", "")


def _inch(match: re.Match[str], length: Length | None) -> str:
    if match[1] is None or length is None:
        return match[0]
    return length(float(match[1]), len(match[1].partition(".")[2]))
