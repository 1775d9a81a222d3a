"""The glossary has every word of the trade that the project's job map lists, with the standard it comes from."""

import re
from pathlib import Path

import pytest

GLOSSARY = Path(__file__).parent.parent / "docs" / "glossary.md"
STANDARD = re.compile(r"\d{4,5}(?:-\d)?")
AXES = {"X", "Y", "Z"}  # one row for the three letters


def rows(text: str) -> list[list[str]]:
    """Cells of every table row."""
    return [[cell.strip() for cell in line.strip().strip("|").split("|")]
            for line in text.splitlines() if line.startswith("| ")]  # fmt: skip


def words(label: str) -> list[str]:
    """The single words of a label, without remarks in brackets or bold."""
    plain = re.sub(r"\(.*?\)|\*\*.*?\*\*", "", label)
    return [w.strip() for w in re.split(r"[/,;]| and ", plain) if w.strip()]


def explained() -> list[list[str]]:
    return [row for row in rows(GLOSSARY.read_text(encoding="utf-8")) if len(row) == 3]


def test_every_word_of_the_job_map_is_explained(shared):
    """Section 8 of the job map: each label in the first column of a row of ours that names one of its standards."""
    text = (shared / "domain" / "job-map.md").read_text(encoding="utf-8")
    section = text[text.index("## 8. Glossary") : text.index("## 9.")]
    wanted = [row for row in rows(section) if row[0] != "Label"]
    assert len(wanted) > 40
    missing = []
    for label, _, origin in wanted:
        numbers = set(STANDARD.findall(origin.partition("for")[0]))
        for word in set(words(label)) - AXES:
            mine = [row for row in explained() if word.casefold() in row[0].casefold()]
            if not any(not numbers or numbers & set(STANDARD.findall(row[2])) or row[2] == "trade" for row in mine):
                missing.append(word)
    assert missing == []


@pytest.mark.parametrize("row", explained(), ids=lambda row: row[0])
def test_each_word_says_where_it_is_from(row):
    """A standard and how we know, or that it is a word of the trade or ours."""
    origin = row[2]
    if row[0] != "Word":
        known = {"trade", "our word"}
        assert origin in known or (STANDARD.search(origin) and ("seen" in origin or "memory" in origin)), origin


def test_no_word_is_explained_twice():
    """Each first column once."""
    names = [row[0].casefold() for row in explained() if row[0] != "Word"]
    assert len(names) == len(set(names))
