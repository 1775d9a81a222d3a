"""Write the catalogue of every text of the pages: `python scripts/texts.py cakewright.pot`.

Copy it to src/cakewright/web/locale/<language>.po, translate, and the pages speak that language to browsers that ask
for it. `python scripts/texts.py cakewright.pot locale/de.po` says what a translation lacks.
`python scripts/texts.py --sentences` writes the list of the sentences that the program makes, by which the pages
recognise them (locale/sentences/program.pot); run it when a sentence changed. Their translation is
locale/sentences/<language>.po.
"""

from __future__ import annotations

import importlib
import pkgutil
import sys
from collections.abc import Iterator
from datetime import UTC, datetime
from enum import StrEnum
from pathlib import Path

from babel.messages.catalog import Catalog
from babel.messages.extract import extract_from_dir
from babel.messages.pofile import read_po, write_po

import cakewright
from cakewright.web.sentence_book import BOOK

ROOT = Path(__file__).resolve().parent.parent
PAGES = ROOT / "src" / "cakewright" / "web" / "templates"
MADE = datetime(2026, 11, 25, tzinfo=UTC)  # always the same, so that the list changes only with its sentences
BOOK_COMMENT = "# The sentences of the program, written by scripts/texts.py --sentences."
SINGLE_WORDS = (  # which the domains say: costs and their causes, points of a release, places, powder steps
    "hands", "finish", "volume", "mix", "yield", "usage", "price", "dates", "store", "cleaning", "loaded", "unpacked",
    "now",
)  # fmt: skip
OPTIONS = {"extensions": "cakewright.web.marking.AutoText,jinja2.ext.i18n", "trim_blocks": "true", "silent": "false"}


def catalogue() -> Catalog:
    """Texts of templates and scripts, places of the menu, and the words of our vocabularies."""
    found = Catalog(project="cakewright", charset="utf-8")
    for name, line, message, comments, _ in extract_from_dir(
        PAGES, [("**.html", "jinja2")], {"**.html": OPTIONS}, keywords={"gettext": None, "ngettext": (1, 2)}
    ):
        found.add(message, locations=[(f"templates/{name}", line)], auto_comments=comments)
    for text, where in _others():
        found.add(text, locations=[(where, 0)])
    return found


def _others() -> Iterator[tuple[str, str]]:
    from cakewright.documents.gantt_rows import LANES
    from cakewright.documents.gantt_words import BENCH, BENCH_WORK, SHORT
    from cakewright.web import powder
    from cakewright.web.display import script_texts
    from cakewright.web.gantt import STATION_KINDS
    from cakewright.web.look import PLACES
    from cakewright.web.papers import ORDER_PAPERS, PAPERS, TABLES
    from cakewright.web.powder_book import DEEDS

    for text in script_texts():
        yield text, "static"
    for text in ("and", "or", "clearance", "removal", "Clearance", "Removal"):
        yield text, "look.py"
    for text in (*LANES, *SHORT.values(), BENCH, BENCH_WORK, *STATION_KINDS):
        yield text, "gantt.py"
    for text in SINGLE_WORDS:
        yield text, "words of pages"
    for text in ("early", "likely", "late", "measure", "cool"):
        yield text, "heat_charts.py"
    for _, text in powder.PLACES:
        yield text, "powder.py"
    for text, _ in DEEDS.values():
        yield text, "powder_book.py"
    for _, word, _ in PLACES:
        yield word, "look.py"
    for title, use, *_ in (*PAPERS.values(), *ORDER_PAPERS.values()):
        yield title, "papers.py"
        yield use, "papers.py"
    for use in TABLES.values():
        yield use, "papers.py"
    for package in pkgutil.walk_packages(cakewright.__path__, "cakewright."):
        if package.name.split(".")[1] in {"model", "app", "parts", "findings"}:
            importlib.import_module(package.name)
    for words in StrEnum.__subclasses__():
        if words.__module__.startswith("cakewright."):
            for word in words:
                yield str(word), words.__module__


def sentence_catalogue() -> Catalog:
    """Every sentence that the domains make, `{name}` where a value stands."""
    from cakewright.web.message_ids import read_sources

    found = Catalog(project="cakewright sentences", charset="utf-8", creation_date=MADE, header_comment=BOOK_COMMENT)
    for text in read_sources():
        found.add(text)
    return found


def missing(path: Path, found: Catalog) -> list[str]:
    """Texts that a translation does not have yet."""
    with path.open("rb") as file:
        known = read_po(file)
    return [str(m.id) for m in found if m.id and not (known.get(m.id) and known.get(m.id).string)]


def main(arguments: list[str]) -> int:
    """Write the catalogue, and say what a translation lacks."""
    if not arguments:
        print(__doc__)
        return 2
    if arguments[0] == "--sentences":
        found, arguments = sentence_catalogue(), arguments[1:] or [str(BOOK)]
    else:
        found = catalogue()
    with Path(arguments[0]).open("wb") as file:
        write_po(file, found, sort_by_file=True, omit_header=False)
    print(f"{len(found)} texts in {arguments[0]}")
    for path in arguments[1:]:
        lacks = missing(Path(path), found)
        print(f"{path}: {len(lacks)} texts are missing", *(f"  {text}" for text in lacks[:20]), sep="\n")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
