"""The sentences that the program can say, read out of its own sources: literals and f-strings are message ids.

What stands in the braces of an f-string becomes a named value. Of a literal that is markup (a picture) the text between
its tags and what is read aloud count; of a template the literals in its statements (tables of words).
"""

from __future__ import annotations

import ast
import re
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from cakewright.web.marking import tokens

ROOT = Path(__file__).parent.parent
MAKERS = (
    "app", "cost", "formats", "model", "nesting", "parts", "physics", "powder", "quality", "schedule", "store", "web",
)  # fmt: skip
SHOWN = (  # documents whose words are on pages too
    "control_chart", "heat_charts", "heat_pictures", "heat_words", "part_faces", "part_questions", "traveller",
    "verdicts", "words",
)  # fmt: skip
SPEECHLESS = {"marking.py", "message_ids.py", "metrics.py", "security.py", "sentences.py", "speech.py", "guards.py"}
LEAST_LETTERS = 4  # a plain text is recognised only as a whole
LEAST_BESIDE, FOR_EACH_VALUE = 6, 2  # letters beside values, and so many more for each: fewer would be found everywhere
LEAST_WEAK = 2  # these are believed where they stand inside a sentence that was recognised
AROUND = " ;,:"  # what joins a sentence to its neighbours is no part of it
BRACES = re.compile(r"\{(\w+)\}")
_ALOUD = re.compile(r'(?:aria-label|title)="([^"]*)"')
_TAG = re.compile(r"<[^<>]*>")
_WORD = re.compile(r"[^\W\d_]{3,}")
_LITERAL = re.compile(r'"([^"{}]*)"')
_WORDS = re.compile(r"[A-Za-z]{2,}[,:;]? |[a-z]{2,}$")
_MACHINES = re.compile(
    r"\\|\(\?|^(?:SELECT|PRAGMA|COPY|BEGIN|SET TRANSACTION) |^# |-src |^<\w|charset=|filename="
)  # patterns, questions to the database, markup


@dataclass(frozen=True, slots=True)
class Sentence:
    """One sentence of the program: its message id with {names}, what finds it quickly, and what takes it apart.

    A `weak` one has so few letters beside its values that it could be found in what people write.
    """

    text: str
    anchor: str
    pattern: str
    letters: int
    weak: bool


@lru_cache(maxsize=1)
def sentences() -> tuple[Sentence, ...]:
    """Every sentence of the program, the most particular first."""
    found: dict[str, None] = {}
    for path in sources():
        read = sentences_in if path.suffix == ".py" else template_sentences
        found |= dict.fromkeys(read(path.read_text(encoding="utf-8")))
    made = [_sentence(text) for text in found]
    return tuple(
        sorted((s for s in made if s.letters >= _least(s)), key=lambda s: (s.weak, -s.letters, -s.text.count("{")))
    )


def likely(text: str) -> Iterator[Sentence]:
    """The sentences that a text may have been made from, the most particular first."""
    by_word, short = _index()
    ranks = {rank for word in set(_WORD.findall(text)) for rank in by_word.get(word, ())}
    for rank in sorted(ranks.union(short)):
        if sentences()[rank].anchor in text:
            yield sentences()[rank]


@lru_cache(maxsize=1)
def _index() -> tuple[dict[str, list[int]], list[int]]:
    """The rank of each sentence by the rarest of its whole words; ranks of those that have none."""
    whole = [_whole_words(one.text) for one in sentences()]
    often = Counter(word for words in whole for word in words)
    by_word: dict[str, list[int]] = {}
    for rank, words in enumerate(whole):
        if words:
            by_word.setdefault(min(words, key=lambda word: (often[word], word)), []).append(rank)
    return by_word, [rank for rank, words in enumerate(whole) if not words]


def _whole_words(text: str) -> set[str]:
    """Words of a message id that no value can lengthen."""
    found = list(_WORD.finditer(text))
    return {f[0] for f in found if not {text[max(f.start() - 1, 0)], text[f.end() : f.end() + 1]} & set("{}_")}


def _least(one: Sentence) -> int:
    return LEAST_WEAK if BRACES.search(one.text) else LEAST_LETTERS


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


def _sentence(text: str) -> Sentence:
    pieces = BRACES.split(text)
    literal = pieces[::2]
    pattern = "".join(re.escape(p) if i % 2 == 0 else "(.*?)" for i, p in enumerate(pieces))
    letters, values = sum(c.isalpha() for p in literal for c in p), len(literal) - 1
    weak = values > 0 and letters < LEAST_BESIDE + FOR_EACH_VALUE * values
    return Sentence(text, max(literal, key=len), pattern, letters, weak)
