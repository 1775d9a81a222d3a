"""The house has floors: a file imports only from higher up the list, and domains do not know each other."""

import ast
from pathlib import Path

import pytest

import cakewright

PACKAGE = Path(cakewright.__file__).parent

FLOORS = """units errors findings sources compiled stopping model parts nesting physics powder schedule cost quality
safety formats documents store app demo web cli""".split()
DOMAINS = {"parts", "nesting", "physics", "powder", "schedule", "cost", "quality"}
ALLOWED_BETWEEN_DOMAINS = {("nesting", "parts")}  # nesting may use the mesh tools of parts
FACES = {"web", "cli"}  # thin over app: they touch no domain directly


def floor_of(dotted: str) -> str | None:
    pieces = dotted.split(".")
    return pieces[1] if pieces[0] == "cakewright" and len(pieces) > 1 else None


def imports_of(path: Path) -> set[str]:
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module and node.level == 0:
            found.add(node.module)
            found |= {f"{node.module}.{alias.name}" for alias in node.names if node.module == "cakewright"}
    return found


def wrong_arrows(path: Path, own: str) -> list[str]:
    wrong = []
    for name in imports_of(path):
        other = floor_of(name)
        if other is None or other == own or other not in FLOORS:
            continue
        arrow = f"{path.relative_to(PACKAGE)} -> {name}"
        if FLOORS.index(other) > FLOORS.index(own):
            wrong.append(f"{arrow} (downstairs)")
        elif own in DOMAINS and other in DOMAINS and (own, other) not in ALLOWED_BETWEEN_DOMAINS:
            wrong.append(f"{arrow} (domains are introduced to each other by app)")
        elif own in FACES and other in DOMAINS:
            wrong.append(f"{arrow} (web and cli go through app)")
    return wrong


def modules() -> list[Path]:
    return sorted(p for p in PACKAGE.rglob("*.py") if p.parent != PACKAGE or p.stem != "__init__")


@pytest.mark.parametrize("path", modules(), ids=lambda p: str(p.relative_to(PACKAGE)))
def test_imports_go_upstairs_only(path):
    """Each module imports only from floors above its own."""
    own = path.relative_to(PACKAGE).parts[0].removesuffix(".py")
    assert own in FLOORS, f"{own} is not on the list of floors: add it where it belongs"
    assert wrong_arrows(path, own) == []


def test_a_wrong_arrow_is_noticed(tmp_path, monkeypatch):
    """The check itself can fail: a cost file importing schedule is named."""
    bad = tmp_path / "cost" / "bad.py"
    bad.parent.mkdir()
    bad.write_text("from cakewright.schedule.instance import Instance\n")
    monkeypatch.setattr("tests.test_layers.PACKAGE", tmp_path)
    assert "domains are introduced" in wrong_arrows(bad, "cost")[0]
