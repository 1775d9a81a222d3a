"""Bytes that should be text: encodings, line ends, and what a wrong file looks like."""

from __future__ import annotations

import codecs

from cakewright.formats.judge import Judge

_SIGNS = (
    (b"ISO-10303-21", "a STEP file", "export a mesh (3MF or STL) from the design program"),
    (b"<!doctype html", "a web page (HTML)", "download the file again; this is probably an error page"),
    (b"<html", "a web page (HTML)", "download the file again; this is probably an error page"),
    (b"<?xml", "an XML document", "export a mesh (3MF or STL) from the design program"),
    (b"%PDF", "a PDF document", "ask for the mesh itself, not a drawing"),
    (b"PK\x03\x04", "a ZIP package", "unpack it, or give it the ending .3mf if it is one"),
    (b"\x1f\x8b", "a gzip archive", "unpack it first"),
    (b"7z\xbc\xaf", "a 7z archive", "unpack it first"),
    (b"Rar!", "a RAR archive", "unpack it first"),
    (b"\xd0\xcf\x11\xe0", "a document of a design or office program", "export a mesh (3MF or STL) from it"),
    (b"\x89PNG", "a picture", "ask for the mesh itself"),
    (b"\xff\xd8\xff", "a picture", "ask for the mesh itself"),
    (b"glTF", "a glTF scene", "export a mesh (3MF or STL) from the design program"),
    (b"start\x20\x20\x20", "an IGES file", "export a mesh (3MF or STL) from the design program"),
)


def looks_like(data: bytes) -> tuple[str, str] | None:
    """What `data` is when it is a well-known other kind of file, and the remedy; None when unknown."""
    head = data[:1024].removeprefix(codecs.BOM_UTF8).lstrip()
    for sign, what, remedy in _SIGNS:
        if head[: len(sign)].lower() == sign.lower():
            return what, remedy
    return None


def decode(data: bytes, judge: Judge, kind: str) -> str:
    """Text of a file with '\\n' line ends. UTF-16 with a mark is read with a note; stray bytes become Latin-1."""
    for mark, encoding in ((codecs.BOM_UTF16_BE, "utf-16-be"), (codecs.BOM_UTF16_LE, "utf-16-le")):
        if data.startswith(mark):
            judge.note(f"{kind}.utf-16", "the text is UTF-16; read as such", "export it as UTF-8 or plain ASCII")
            return _plain_ends(data[2:].decode(encoding, "replace"))
    if b"\x00" in data:
        judge.refuse(f"not a text {kind.upper()} file: it holds zero bytes", "export the mesh again")
    try:
        return _plain_ends(data.decode("utf-8-sig"))
    except UnicodeDecodeError:
        return _plain_ends(data.decode("latin-1"))


def _plain_ends(text: str) -> str:
    return text.replace("\r\n", "\n").replace("\r", "\n") if "\r" in text else text
