"""Rules of the house that a person would otherwise have to watch."""

from pathlib import Path

import cakewright
from cakewright.sources import all_references

PACKAGE = Path(cakewright.__file__).parent


def test_files_hold_one_idea():
    """No source file grows past 500 lines."""
    long = {
        str(p.relative_to(PACKAGE)): n
        for p in PACKAGE.rglob("*.py")
        if (n := len(p.read_text(encoding="utf-8").splitlines())) > 500
    }
    assert long == {}


def test_every_reference_names_its_source():
    """A number without source or unit is not a Reference."""
    references = all_references()
    assert references, "no references are filed"
    for reference in references:
        assert reference.source.strip(), reference.name
        assert "." in reference.name, f"{reference.name}: use 'topic.quantity'"
