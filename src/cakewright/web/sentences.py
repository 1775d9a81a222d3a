"""Sentences that the program makes (reasons, findings, what to do) in another language, and their lengths in inches.

The domains write plain English into plans and records, which are kept for years. Where a page prints such a text it
is recognised again by the sentence of the program it was made from (`sentence_book`); a translation
`locale/sentences/<language>.po` says it anew with its values. What is not recognised (a part name, a remark somebody
typed) stays exactly as it is.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from html import escape, unescape

from cakewright.web.sentence_book import AROUND, BRACES, likely

DEEPEST = 6
_SPLITS = ("; ", " -> ", ". ", ": ", ", ", " and ")
_NUMBER = r"\d+(?:\.\d+)?"
_MEASURE = re.compile(rf"{_NUMBER} mm")
_MM = re.compile(rf"\ue000[^\ue001]*\ue001|(?<![\w.,-])(-?{_NUMBER}) mm(?![\w²³/])")
_WEEK, _YEAR = "Mon|Tue|Wed|Thu|Fri|Sat|Sun", "Jan|Feb|Mar|Apr|May|Jun|Jul|Aug|Sep|Oct|Nov|Dec"
DAY = re.compile(rf"({_WEEK})( \d{{1,2}})?( (?:{_YEAR}))?(,? \d\d:\d\d)?")
WEEK, YEAR = _WEEK.split("|"), _YEAR.split("|")
_JOINED = re.compile(rf"([{AROUND}]*|\. )(.*?)([{AROUND}.]*)", re.S)
# 3, 0.8 mm, 12 %
_AMOUNT = re.compile(rf"-?{_NUMBER}(?: ?(?:%|[^\W\d_]{{1,3}}[²³]?))?")
_NAME = re.compile(
    r"|[^\s,;:]+|(?=.*[A-Z\d])(?!.*\b(?:at|by|for|from|in|of|on|to)\b)(?:[^,;:]|(?<=\d):(?=\d)){1,40}"
)  # A1, Red Kiln, Tue 2 Mar
_JOINTS = AROUND.strip()
_LISTED = re.compile(r", | and ")
_PICTURE = re.compile(r"<svg\b.*?</svg>", re.S)
_SEEN = re.compile(r'(?<=>)[^<>]+(?=<)|(?<= aria-label=")[^"]+(?=")')
Length = Callable[[float, int], str]
Say = Callable[[str], str]


def _as_it_is(text: str) -> str:
    return text


@dataclass(frozen=True, slots=True)
class Ear:
    """How a person reads: messages, lengths (None: as written), days (None: as written), single words, '3 pieces'."""

    say: Say
    length: Length | None = None
    day: Say | None = None
    word: Say = _as_it_is
    counted: Say = _as_it_is


def spoken(text: str, ear: Ear) -> str:
    """A text as this person reads it: recognised sentences in the language, their millimetres in the unit.

    `ear.say` gives the message in another language for a message id, or the id itself; `ear.day` does so for
    'Tue 2 Mar 07:10', `ear.word` for one word inside a sentence, `ear.counted` for '3 pieces'.
    """
    return _spoken(text, ear, DEEPEST)


def label(text: str, ear: Ear) -> str:
    """A word or sentence of a picture, which nobody typed, as this person reads it."""
    return _spoken(text, ear, DEEPEST, inside=True)


def picture(svg: str, ear: Ear) -> str:
    """Markup with pictures: what is written in them and read aloud of them, as this person reads it."""

    def said(match: re.Match[str]) -> str:
        return escape(label(unescape(match[0]), ear)) if match[0].strip() else match[0]

    return _PICTURE.sub(lambda drawn: _SEEN.sub(said, drawn[0]), svg)


def _spoken(text: str, ear: Ear, deep: int, *, inside: bool = False) -> str:
    """`inside`: a value of a sentence, or a word of a picture, which nobody typed."""
    if deep < 0:
        return text
    if ear.day is not None and DAY.fullmatch(text) and (inside or " " in text):
        return ear.day(text)
    if " " not in text.strip():
        return ear.word(text) if inside else text
    if _MEASURE.fullmatch(text):
        return _MM.sub(lambda m: _inch(m, ear.length), text)
    joined = _JOINED.fullmatch(text)
    before, stem, after = joined.groups() if joined else ("", text, "")
    if ear.day is not None and inside and DAY.fullmatch(stem):
        return before + ear.day(stem) + after
    found = recognised(stem, inside=inside)
    if found is not None:
        return before + _said(found, ear, deep) + after
    if inside and (told := ear.counted(stem)) != stem:
        return before + told + after
    return before + _clauses(stem, ear, deep, inside=inside) + after


def _clauses(text: str, ear: Ear, deep: int, *, inside: bool) -> str:
    """A text that is no sentence as a whole: its longest beginning that is one, else what its pieces are."""
    splits = _SPLITS if inside else _SPLITS[:-1]
    for split in splits:
        end = text.rfind(split)
        while end > 0:
            head, tail = text[:end], text[end + len(split) :]
            if recognised(head.strip(AROUND + "."), inside=inside):
                return _told(head, split, tail, ear, deep, inside=inside)
            end = text.rfind(split, 0, end)
    for split in splits:
        head, at, tail = text.partition(split)
        while at:
            first = _spoken(head, ear, deep - 1, inside=inside)
            if first != head:
                return _told(head, split, tail, ear, deep, inside=inside)
            if (
                split == ": "
                and _NAME.fullmatch(head)
                and (rest := _spoken(tail, ear, deep - 1, inside=inside)) != tail
            ):
                return head + split + rest
            more, at, tail = tail.partition(split)
            head = f"{head}{split}{more}"
    if inside and all(_NAME.fullmatch(name) for name in _LISTED.split(text)):
        return text.replace(" and ", f" {ear.word('and')} ")
    return text


def _told(head: str, split: str, tail: str, ear: Ear, deep: int, *, inside: bool) -> str:
    joint = f" {ear.word('and')} " if split == " and " else split
    return _spoken(head, ear, deep - 1, inside=inside) + joint + _spoken(tail, ear, deep, inside=inside)


@lru_cache(maxsize=16384)
def recognised(text: str, *, inside: bool = False) -> tuple[str, tuple[str, ...], bool] | None:
    """The message id a text was made from, its values, and whether it begins with a capital that the id has not."""
    for one in likely(text):
        match = re.fullmatch(one.pattern, text, re.S)
        if match and _believed(match.groups(), weak=one.weak, inside=inside):
            return one.text, match.groups(), False
    if text[:1].isupper() and text[1:2].islower():
        found = recognised(text[0].lower() + text[1:], inside=inside)
        return (found[0], found[1], True) if found else None
    return None


def _believed(values: tuple[str, ...], *, weak: bool, inside: bool) -> bool:
    """A value is no two sentences, unless it is one of the program; few letters are not enough in the open, nor
    between what is joined to a neighbour."""
    if weak and any(value[-1:] in _JOINTS for value in values if value):
        return False
    told = [value.strip(AROUND + ".") for value in values]
    known = [bool(" " in value and recognised(value)) for value in told]
    if any((stop in v and not k) for v, k in zip(values, known, strict=True) for stop in ("; ", ". ")):
        return False
    if not weak or all(_AMOUNT.fullmatch(value) for value in told):
        return True
    plain = [k or all(_NAME.fullmatch(name) for name in _LISTED.split(v)) for v, k in zip(told, known, strict=True)]
    return all(plain) and (inside or any(known))


def _said(found: tuple[str, tuple[str, ...], bool], ear: Ear, deep: int) -> str:
    message, values, capital = found
    named: Mapping[str, str] = dict(zip(BRACES.findall(message), values, strict=True))

    def value(match: re.Match[str]) -> str:
        told = named.get(match[1], match[0])
        if re.fullmatch(_NUMBER, told):
            return told
        return f"\ue000{_spoken(told, ear, deep - 1, inside=True)}\ue001"

    text = _MM.sub(lambda m: _inch(m, ear.length), BRACES.sub(value, ear.say(message)))
    text = text.replace("\ue000", "").replace("\ue001", "")
    return text[:1].upper() + text[1:] if capital else text


def _inch(match: re.Match[str], length: Length | None) -> str:
    if match[1] is None or length is None:
        return match[0]
    return length(float(match[1]), len(match[1].partition(".")[2]))
