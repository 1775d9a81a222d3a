"""Reading PDF files back: text, where it stands, pictures."""

import re

import numpy as np
import pypdfium2
import segno


def text_of(pdf: bytes) -> str:
    """All text, white space collapsed."""
    with pypdfium2.PdfDocument(pdf) as document:
        return re.sub(r"\s+", " ", " ".join(page.get_textpage().get_text_range() for page in document))


def pages(pdf: bytes) -> int:
    with pypdfium2.PdfDocument(pdf) as document:
        return len(document)


def place_of(pdf: bytes, words: str, page: int = 0) -> tuple[float, float, float, float]:
    """Left, bottom, right, top in points of the first occurrence; (0, 0) is the lower left corner."""
    with pypdfium2.PdfDocument(pdf) as document:
        textpage = document[page].get_textpage()
        found = textpage.search(words, match_case=True).get_next()
        assert found is not None, f"{words!r} is not on page {page + 1}"
        boxes = [textpage.get_charbox(i) for i in range(found[0], found[0] + found[1])]
        return min(b[0] for b in boxes), min(b[1] for b in boxes), max(b[2] for b in boxes), max(b[3] for b in boxes)


def picture_of(pdf: bytes, page: int = 0, scale: float = 4.0) -> np.ndarray:
    """(h, w) grey values of a page."""
    with pypdfium2.PdfDocument(pdf) as document:
        return np.asarray(document[page].render(scale=scale).to_pil().convert("L"))


def holds_qr(grey: np.ndarray, corner: tuple[int, int], side: float, content: str) -> bool:
    """True when the modules at `corner` (top, left), `side` pixels wide, are those of the QR code of `content`."""
    matrix = np.array([list(row) for row in segno.make(content, error="m", micro=False).matrix], dtype=bool)
    n = len(matrix)
    centres = ((np.arange(n) + 0.5) * side / n).astype(int)
    seen = grey[np.ix_(corner[0] + centres, corner[1] + centres)] < 128
    return bool((seen == matrix).all())


def find_qr(grey: np.ndarray) -> tuple[tuple[int, int], float]:
    """Top left corner and side of the code in the upper right of a page: all ink right of 80 % and above 12 %."""
    h, w = grey.shape
    top, left = 0, int(w * 0.78)
    area = grey[top : int(h * 0.125), left:] < 128
    rows, columns = np.nonzero(area.any(axis=1))[0], np.nonzero(area.any(axis=0))[0]
    side = columns[-1] - columns[0] + 1
    return (top + int(rows[0]), left + int(columns[0])), float(side)
