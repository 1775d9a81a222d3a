"""The sentences that the program can say, read out of its own sources: literals and f-strings are message ids.

What stands in the braces of an f-string becomes a named value. Of a literal that is markup (a picture) the text between
its tags and what is read aloud count; of a template the literals in its statements (tables of words). This is done
when the sources change (scripts/texts.py); the running program reads the list written then (`sentence_book`).
"""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

from cakewright.web.marking import tokens
from cakewright.web.sentence_book import AROUND, sentence_of

ROOT = Path(__file__).parent.parent
MAKERS = (
    "app", "cost", "formats", "model", "nesting", "parts", "physics", "powder", "quality", "schedule", "store", "web",
)  # fmt: skip
SHOWN = (  # documents whose words are on pages too
    "control_chart", "gantt_layout", "gantt_marks", "gantt_rows", "gantt_words", "heat_charts", "heat_pictures",
    "heat_words", "part_faces", "part_questions", "traveller", "verdicts", "words",
)  # fmt: skip
SPEECHLESS = {
    "guards.py", "marking.py", "message_ids.py", "metrics.py", "security.py", "sentence_book.py", "sentences.py",
    "speech.py",
}  # fmt: skip
_ALOUD = re.compile(r'(?:aria-label|title)="([^"]*)"')
_TAG = re.compile(r"<[^<>]*>")
_LITERAL = re.compile(r'"([^"{}]*)"')
_WORDS = re.compile(r"[A-Za-z]{2,}[,:;]? |[a-z]{2,}$")
_MACHINES = re.compile(
    r"\\|\(\?|^(?:SELECT|PRAGMA|COPY|BEGIN|SET TRANSACTION) |^# |-src |^<\w|charset=|filename="
)  # patterns, questions to the database, markup


def read_sources() -> list[str]:
    """Every sentence of the program that can be recognised again, in order of the alphabet."""
    found: set[str] = set()
    for path in sources():
        read = sentences_in if path.suffix == ".py" else template_sentences
        found.update(read(path.read_text(encoding="utf-8")))
    return sorted(one.text for one in map(sentence_of, found) if one.is_telling)


def sources() -> Iterator[Path]:
    """The modules and templates whose sentences are on pages."""
    for folder in MAKERS:
        yield from (p for p in sorted((ROOT / folder).rglob("*.py")) if _speaks(p))
    yield from (ROOT / "findings.py", ROOT / "safety.py", ROOT / "sources" / "safety.py")
    yield from (ROOT / "documents" / f"{name}.py" for name in SHOWN)
    yield from sorted((ROOT / "web" / "templates").glob("*.html"))


def _speaks(path: Path) -> bool:
    return path.name not in SPEECHLESS and not path.name.startswith("schema") and "versions" not in path.parts


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
        yield from _told(text)


def template_sentences(source: str) -> Iterator[str]:
    """The message ids in the statements of a template: tables of words that it prints one by one."""
    for kind, text in tokens(source):
        if kind == "statement" and ("[(" in text or "((" in text):
            for literal in _LITERAL.findall(text):
                yield from _told(literal)


def _told(text: str) -> Iterator[str]:
    """The sentences of one literal: itself, or what a reader sees and hears of its markup."""
    if _TAG.search(text):
        for piece in (*_ALOUD.findall(text), *_TAG.split(text)):
            if "<" not in piece and ">" not in piece and "=" not in piece:
                yield from _told(piece)
    elif _WORDS.search(text) and " " in text.strip() and "\n" not in text and not _MACHINES.search(text):
        yield bare(text)


def bare(text: str) -> str:
    """A sentence without what joins it to its neighbours."""
    return text.strip(AROUND).removeprefix(". ").rstrip(".").rstrip(AROUND)


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
