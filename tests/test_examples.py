"""Every example of the texts runs: Python, SQL and cell files of pages and README; links outside the site resolve."""

import re
import sqlite3
import tomllib
from pathlib import Path

import pytest

from cakewright.app.init_cell import init_cell, template_cell
from cakewright.formats.cell_schema import TABLES
from tests.app.worlds import write_order_book

ROOT = Path(__file__).resolve().parents[1]
TEXTS = [ROOT / "README.md", ROOT / "CONTRIBUTING.md", ROOT / "SECURITY.md", *sorted((ROOT / "docs").rglob("*.md"))]
BLOCK = re.compile(r"^```(\w+)\n(.*?)^```", re.M | re.S)
TRIED = {"python", "sql", "toml"}


def blocks(kind: str) -> list:
    """Every fenced example of one language, named by its page."""
    return [
        pytest.param(body, id=f"{text.name}-{n}")
        for text in TEXTS
        for n, (lang, body) in enumerate(BLOCK.findall(text.read_text(encoding="utf-8")))
        if lang == kind
    ]


def test_every_language_is_tried():
    """A block of a language that no test here runs would be an example nobody has tried."""
    langs = {lang for text in TEXTS for lang, _ in BLOCK.findall(text.read_text(encoding="utf-8"))}
    assert langs <= TRIED
    assert all(blocks(kind) for kind in TRIED)


@pytest.fixture(scope="module")
def desk(tmp_path_factory):
    """A folder as a newcomer has it: a cell file, an order list, meshes; searches end early."""
    folder = tmp_path_factory.mktemp("newcomer")
    init_cell(folder / "cell.toml")
    written = (folder / "cell.toml").read_text(encoding="utf-8")
    quick = re.sub(r"(?m)^(seconds_per_build\s*=\s*)[\d.]+", r"\g<1>1", written)
    assert quick != written
    (folder / "cell.toml").write_text(quick, encoding="utf-8")
    write_order_book(folder, template_cell())
    return folder


@pytest.mark.parametrize("body", blocks("python"))
def test_python_examples_run(desk, monkeypatch, body):
    """In the order of the pages, in the newcomer's folder."""
    monkeypatch.chdir(desk)
    exec(compile(body, "example", "exec"), {})
    if "write_plan" in body:
        assert (desk / "plans" / "plan-001" / "report.html").is_file()


@pytest.mark.parametrize("body", blocks("sql"))
def test_sql_examples_run(desk, monkeypatch, body):
    """Against a database with a plan in it, as any other program would open it."""
    monkeypatch.chdir(desk)
    if not (desk / "plans" / "cakewright.sqlite").exists():
        (readme,) = [p.values[0] for p in blocks("python") if "write_plan" in p.values[0]]
        exec(compile(readme, "example", "exec"), {})
    statements = [s for s in re.split(r";\s*$", body, flags=re.M) if s.strip()]
    db = sqlite3.connect("file:plans/cakewright.sqlite?mode=ro", uri=True)
    try:
        for statement in statements:
            db.execute(statement).fetchall()
    finally:
        db.close()


@pytest.mark.parametrize("body", blocks("toml"))
def test_cell_file_examples_name_what_there_is(body):
    """Every table and key of an example is one of the cell file."""
    known = {table.name: {key.name for key in table.keys} for table in TABLES}
    for name, found in tomllib.loads(body).items():
        assert name in known
        for row in found if isinstance(found, list) else [found]:
            assert set(row) <= known[name]


@pytest.mark.parametrize(
    "text", [ROOT / "README.md", ROOT / "CONTRIBUTING.md", ROOT / "SECURITY.md"], ids=lambda p: p.name
)
def test_links_outside_the_site_resolve(text):
    """The site builder checks its own pages; these are read in the repository."""
    for target in re.findall(r"\]\(([^)#]+)[^)]*\)", text.read_text(encoding="utf-8")):
        if "://" not in target:
            assert (ROOT / target).exists(), target
