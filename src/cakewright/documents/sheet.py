"""The layout that all A4 papers share: black on white, big type, QR code, set with typst.

Text from people never becomes typst source: a template reads it as JSON, so that '#', '$', '*' and
quotes in a part name are printed as they are.
"""

from __future__ import annotations

import base64
import json
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import Any

import segno
import typst

from cakewright.documents.render import Picture
from cakewright.errors import CakewrightError

_HOME = Path(__file__).parent


def qr_svg(content: str) -> str:
    """A QR code (error correction M, at least) as SVG text without white border."""
    return str(segno.make(content, error="m", micro=False).svg_inline(border=0, omitsize=True))


def picture_svg(picture: Picture) -> str:
    """A drawing wrapped as SVG text: typst takes text as data, not bytes."""
    height, width = picture.pixels.shape[:2]
    data = base64.b64encode(picture.png).decode("ascii")
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}" height="{height}" viewBox="0 0 {width} {height}">'
        f'<image width="{width}" height="{height}" href="data:image/png;base64,{data}"/></svg>'
    )


@cache
def _fonts() -> typst.Fonts:
    """The typefaces that come with cakewright first; the system's only for letters these lack."""
    return typst.Fonts(font_paths=[str(_HOME / "fonts")])


def template(name: str) -> str:
    """The shared layout followed by the body `templates/<name>.typ`."""
    folder = _HOME / "templates"
    return "\n".join((folder / f"{n}.typ").read_text(encoding="utf-8") for n in ("sheet", name))


def set_pdf(name: str, data: Mapping[str, Any]) -> bytes:
    """Set the template `name` with `data` (JSON values) and return the PDF file.

    Every sheet's data holds `title`, `subtitle`, `id` (in the QR code) and `footer`.
    """
    full = {**data, "qr": qr_svg(str(data["id"]))}
    try:
        out = typst.compile(
            template(name).encode(),
            sys_inputs={"data": json.dumps(full, ensure_ascii=False)},
            font_paths=_fonts(),
            format="pdf",
            timestamp=0,
        )
    except typst.TypstError as wrong:
        raise CakewrightError(
            f"the paper {name!r} could not be set: {wrong}", remedy="report this with the order list", where=name
        ) from wrong
    return bytes(out)
