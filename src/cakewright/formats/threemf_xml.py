"""XML of a package, read in a stream: no document type, no entities, UTF-8, bounded depth."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any
from xml.parsers import expat

from cakewright.formats.judge import Judge

DEEPEST = 60
LARGEST_SMALL_BYTES = 4_000_000
XML = "http://www.w3.org/XML/1998/namespace"
_AGAIN = "export it again, or send an STL"
_DECLARED = re.compile(rb"""\A\s*<\?xml[^>]*encoding\s*=\s*["']([A-Za-z0-9._-]+)["']""")

Attributes = dict[str, str]
Start = Callable[[str, Attributes], None]
End = Callable[[str], None]
Text = Callable[[str], None]


def stream(
    data: bytes,
    judge: Judge,
    name: str,
    start: Start,
    end: End,
    text: Text | None = None,
    namespace: Callable[[str, str], None] | None = None,
) -> None:
    """Run an XML part through callbacks. Tags and attributes come as 'namespace name', or 'name' without one.

    A document type declaration is refused before anything in it is read (core 2.3.2); other encodings than
    UTF-8 are a breach; damage is refused with line and column.
    """
    parser = expat.ParserCreate(namespace_separator=" ")
    depth = 0

    def on_start(tag: str, attributes: Attributes) -> None:
        nonlocal depth
        depth += 1
        if depth > DEEPEST:
            judge.refuse(f"{name}: elements are nested more than {DEEPEST} deep", _AGAIN)
        if f"{XML} space" in attributes:
            judge.breach(
                "threemf.xml-space",
                f"{name}: xml:space is used at line {parser.CurrentLineNumber} (core 2.3.4)",
                _AGAIN,
                liberty="it was ignored",
            )
        start(tag, attributes)

    def on_end(tag: str) -> None:
        nonlocal depth
        depth -= 1
        end(tag)

    def on_doctype(*_: Any) -> None:
        judge.refuse(f"{name}: a document type declaration (DTD) is forbidden (core 2.3.2)", _AGAIN)

    parser.StartElementHandler = on_start
    parser.EndElementHandler = on_end
    parser.StartDoctypeDeclHandler = on_doctype
    if text is not None:
        parser.CharacterDataHandler = text
    if namespace is not None:
        declare = namespace
        parser.StartNamespaceDeclHandler = lambda prefix, uri: declare(prefix or "", uri or "")
    try:
        parser.Parse(_as_utf8(data, judge, name), True)
    except LookupError:  # an encoding that nobody knows
        judge.refuse(f"{name}: this is no XML in UTF-8 (core 2.3.2)", _AGAIN)
    except expat.ExpatError as wrong:
        if (wrong.lineno, wrong.offset) == (1, 0):
            judge.refuse(f"{name}: this is no XML in UTF-8 (core 2.3.2)", _AGAIN)
        judge.refuse(
            f"{name}: the XML is damaged at line {wrong.lineno}, column {wrong.offset}: "
            f"{expat.ErrorString(wrong.code)} (core 2.3)",
            _AGAIN,
        )


def _as_utf8(data: bytes, judge: Judge, name: str) -> bytes:
    """The bytes if they are UTF-8; other encodings are a breach and then decoded."""
    if not data.strip():
        judge.refuse(f"{name}: the part is empty", _AGAIN)
    encoding = _encoding(data)
    if encoding in ("utf-8", "us-ascii", "ascii"):
        return data
    judge.breach(
        "threemf.encoding",
        f"{name}: the XML is encoded as {encoding}, it must be UTF-8 (core 2.3.2)",
        _AGAIN,
        liberty="it was decoded",
    )
    try:
        text = data.decode(encoding)
    except (LookupError, UnicodeDecodeError):
        judge.refuse(f"{name}: the encoding {encoding} cannot be read", _AGAIN)
    return re.sub(r"\A\ufeff?\s*<\?xml[^>]*\?>", "", text).encode("utf-8")


def _encoding(data: bytes) -> str:
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return "utf-16"
    if b"\x00" in data[:200]:
        return "utf-16-be" if data[:1] == b"\x00" else "utf-16-le"
    declared = _DECLARED.match(data.removeprefix(b"\xef\xbb\xbf")[:200])
    return declared.group(1).decode("ascii").lower() if declared else "utf-8"


def small_document(data: bytes, judge: Judge, name: str) -> list[tuple[str, Attributes]]:
    """All elements of a small part (content types, relationships) as (tag, attributes), in file order."""
    if len(data) > LARGEST_SMALL_BYTES:
        judge.refuse(f"{name} has {len(data)} bytes, which is absurd for its kind", _AGAIN)
    found: list[tuple[str, Attributes]] = []
    stream(data, judge, name, lambda tag, attributes: found.append((tag, dict(attributes))), lambda tag: None)
    return found
