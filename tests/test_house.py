"""Rules of the house that a person would otherwise have to watch."""

import ast
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


def finding_codes() -> set[str]:
    """Every code that the package gives to a Finding as plain text."""
    codes = set()
    for path in PACKAGE.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "Finding" and node.args:
                first = node.args[0]
                if isinstance(first, ast.Constant) and isinstance(first.value, str):
                    codes.add(first.value)
    return codes


def test_every_finding_code_is_documented():
    """Whoever meets a code finds its meaning and remedy in docs/reference/findings."""
    shelf = Path(__file__).parent.parent / "docs" / "reference" / "findings"
    texts = "".join(page.read_text(encoding="utf-8") for page in shelf.glob("*.md"))
    codes = finding_codes()
    assert len(codes) > 20
    assert sorted(code for code in codes if code not in texts) == []
