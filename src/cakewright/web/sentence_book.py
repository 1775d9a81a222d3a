"""The sentences of the program, ready to be recognised: read from the list that `message_ids` took from the sources."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from babel.messages.pofile import read_po

BOOK = Path(__file__).parent / "locale" / "sentences" / "program.pot"  # written by scripts/texts.py --sentences
LEAST_LETTERS = 4  # a plain text is recognised only as a whole
LEAST_BESIDE, FOR_EACH_VALUE = 6, 2  # letters beside values, and so many more for each: fewer would be found everywhere
LEAST_WEAK = 2  # these are believed where they stand inside a sentence that was recognised
AROUND = " ;,:"  # what joins a sentence to its neighbours is no part of it
BRACES = re.compile(r"\{(\w+)\}")
_WORD = re.compile(r"[^\W\d_]{3,}")


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

    @property
    def is_telling(self) -> bool:
        """Whether it has letters enough to be recognised at all."""
        return self.letters >= (LEAST_WEAK if BRACES.search(self.text) else LEAST_LETTERS)


def sentence_of(text: str) -> Sentence:
    """The sentence with this message id."""
    pieces = BRACES.split(text)
    literal = pieces[::2]
    pattern = "".join(re.escape(p) if i % 2 == 0 else "(.*?)" for i, p in enumerate(pieces))
    letters, values = sum(c.isalpha() for p in literal for c in p), len(literal) - 1
    weak = values > 0 and letters < LEAST_BESIDE + FOR_EACH_VALUE * values
    return Sentence(text, max(literal, key=len), pattern, letters, weak)


@lru_cache(maxsize=1)
def sentences() -> tuple[Sentence, ...]:
    """Every sentence of the program, the most particular first."""
    with BOOK.open("rb") as file:
        made = [sentence_of(str(message.id)) for message in read_po(file) if message.id]
    return tuple(sorted(made, key=lambda s: (s.weak, -s.letters, -s.text.count("{"))))


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
