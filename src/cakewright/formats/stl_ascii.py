"""ASCII STL: words and numbers, several solids allowed."""

from __future__ import annotations

import re
from collections.abc import Iterator

import numpy as np

from cakewright.formats.judge import Judge
from cakewright.formats.raw import Body
from cakewright.formats.text import decode
from cakewright.model.mesh import FloatArray

# facet normal nx ny nz outer loop (vertex x y z) x 3 endloop endfacet
_WORDS = {0: "facet", 1: "normal", 5: "outer", 6: "loop", 7: "vertex", 11: "vertex", 15: "vertex", 19: "endloop", 20: "endfacet"}  # fmt: skip  # noqa: E501
_TOKENS = 21
_NUMBERS = (8, 9, 10, 12, 13, 14, 16, 17, 18)
_HEAD = re.compile(r"^[ \t]*solid\b[ \t]*([^\n]*)$", re.IGNORECASE | re.MULTILINE)
_TAIL = re.compile(r"^[ \t]*end[ \t]?solid\b[^\n]*$", re.IGNORECASE | re.MULTILINE)
_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?|[+-]?(nan|inf|infinity)", re.IGNORECASE)
_VERTEX = re.compile(r"\bvertex[ \t]+(\S+)[ \t]+(\S+)[ \t]+(\S+)", re.IGNORECASE)
_FACET = re.compile(r"\bfacet\b", re.IGNORECASE)

Solids = tuple[FloatArray, tuple[Body, ...]]


def parse_ascii(data: bytes, judge: Judge) -> Solids:
    """Corners (m, 3, 3) and solids of an ASCII STL file. Written normals are ignored: the winding tells."""
    text = decode(data, judge, "stl")
    blocks, bodies, total = [], [], 0
    for name, start, block, is_ended in _solids(text):
        corners = _facets(block)
        if corners is None or not is_ended:
            return _explain(text, start, judge)
        blocks.append(corners)
        bodies.append(Body(name, total, len(corners)))
        total += len(corners)
    if total == 0:
        judge.refuse("the file contains no triangles", "export the mesh again")
    return np.concatenate(blocks), tuple(bodies)


def _solids(text: str) -> Iterator[tuple[str, int, str, bool]]:
    """(name, place in the text, text between the lines 'solid' and 'endsolid', whether it is ended) of each solid."""
    place = 0
    while (head := _HEAD.search(text, place)) is not None:
        tail = _TAIL.search(text, head.end())
        stop = tail.start() if tail else len(text)
        yield head.group(1).strip(), head.end(), text[head.end() : stop], tail is not None
        place = tail.end() if tail else len(text)
    if text[place:].strip():
        yield "", place, text[place:], False


def _facets(block: str) -> FloatArray | None:
    """Corners (m, 3, 3) when every facet is exactly as the format says, None otherwise."""
    tokens = block.split()
    if len(tokens) % _TOKENS:
        return None
    for place, word in _WORDS.items():
        if any(found != word and found.lower() != word for found in set(tokens[place::_TOKENS])):
            return None
    columns = []
    for place in _NUMBERS:
        try:
            columns.append(np.array(list(map(float, tokens[place::_TOKENS]))))
        except ValueError:
            return None
    return np.stack(columns, axis=1).reshape(-1, 3, 3) if tokens else np.empty((0, 3, 3))


def _explain(text: str, start: int, judge: Judge) -> Solids:
    """Find the first line that is not as expected and say so; a forgiving judge then takes whole facets only."""
    line, found, expected = _first_wrong_line(text, start)
    is_comma = bool(re.search(r"\d,\d", found))
    if is_comma:
        message = f"decimal commas at line {line}: {found!r}"
        liberty, code = "commas were read as decimal points", "stl.decimal-comma"
    elif not found:
        message, code = (
            f"the file is truncated: it ends at line {line} where {expected!r} was expected",
            "stl.truncated",
        )
        liberty = "the whole facets before it were read"
    else:
        message, code = f"line {line}: found {found[:60]!r} where {expected!r} was expected", "stl.bad-line"
        liberty = "facets that could be read were read"
    judge.breach(code, message, "export the mesh again, with decimal points and to the end", liberty=liberty)
    return _whole_facets(text, is_comma, judge)


_EXPECTED = ("facet normal", "outer loop", "vertex", "vertex", "vertex", "endloop", "endfacet")


def _first_wrong_line(text: str, start: int) -> tuple[int, str, str]:
    """(line number, its text or '' at the end of the file, what should stand there)."""
    line = text.count("\n", 0, start) + 1
    state = 0
    for number, raw in enumerate(text[start:].split("\n"), start=line):
        words = raw.split()
        if not words:
            continue
        lower = [word.lower() for word in words]
        if state == 0 and lower[0] in ("endsolid", "solid"):
            continue
        want = _EXPECTED[state].split()
        numbers = words[len(want) :]
        needed = 3 if state in (0, 2, 3, 4) else 0
        if lower[: len(want)] != want or len(numbers) != needed or not all(map(_NUMBER.fullmatch, numbers)):
            return number, raw.strip(), _EXPECTED[state] + (" and three numbers" if needed else "")
        state = (state + 1) % len(_EXPECTED)
    return text.count("\n") + 1, "", _EXPECTED[state] if state else "endsolid"


def _whole_facets(text: str, is_comma: bool, judge: Judge) -> Solids:
    corners = []
    for piece in _FACET.split(text)[1:]:
        found = _VERTEX.findall(piece)
        try:
            rows = [[float(n.replace(",", ".") if is_comma else n) for n in row] for row in found]
        except ValueError:
            continue
        if len(rows) == 3:
            corners.append(rows)
    if not corners:
        judge.refuse("the file contains no whole triangles", "export the mesh again")
    return np.array(corners), (Body("", 0, len(corners)),)
