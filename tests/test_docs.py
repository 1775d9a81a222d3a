"""Nothing of the program is undocumented: commands, numbers, pages, errors; and the examples of the pages run."""

import importlib.util
import re
from pathlib import Path

import pytest
from typer.main import get_command

from cakewright.cli.main import cli
from cakewright.sources import all_references

ROOT = Path(__file__).resolve().parents[1]


@pytest.fixture(scope="module")
def made():
    """The module that makes pages from the program."""
    found = importlib.util.spec_from_file_location("docs_pages", ROOT / "scripts" / "docs_pages.py")
    module = importlib.util.module_from_spec(found)
    found.loader.exec_module(module)
    return module


def test_every_command_and_option_is_on_the_page_with_words(made):
    """A command or option without help would leave an empty cell."""
    text = made.commands()
    for path, command in made.walk(get_command(cli), ()):
        assert f"## {' '.join(('cakewright', *path))}\n" in text
        assert (command.help or "").strip(), path
    rows = [row for row in text.splitlines() if row.startswith("| `")]
    assert len(rows) > 20
    wordless = [row for row in rows if row.split(" | ")[1].strip() == ""]
    assert wordless == []


def test_every_number_is_on_the_page(made):
    """By its dotted name, with status and source."""
    text = made.numbers()
    missing = [r.name for r in all_references() if f"| `{r.name}` |" not in text]
    assert missing == []


def test_every_page_says_what_it_is_for(made):
    """Addresses of the web application with a sentence each."""
    rows = [row for row in made.pages().splitlines() if row.startswith("| `")]
    assert len(rows) > 15
    assert [row for row in rows if row.split(" | ")[1].strip(" |") == ""] == []


def test_every_error_has_a_code_of_its_own_and_a_meaning(made):
    """Codes are what scripts rely on."""
    rows = [row.split(" | ") for row in made.errors().splitlines() if row.startswith("| `")]
    codes = [row[0] for row in rows]
    assert len(codes) == len(set(codes))
    assert all(len(row[2].strip(" |")) > 10 for row in rows)


def test_every_published_check_names_its_source(made):
    """A test in tests/published without a docstring would be an empty row."""
    rows = [row.split(" | ") for row in made.checks().splitlines() if row.startswith("| ") and "|---|" not in row]
    rows = [row for row in rows if row[0] != "| check"]
    assert len(rows) > 40
    assert [row[0] for row in rows if len(row[1].strip(" |")) < 10] == []


def test_commands_in_the_texts_exist(made):
    """Every `cakewright ...` line of a page or the README names a command and options that there are."""
    known = dict(made.walk(get_command(cli), ()))
    wrong = []
    for file in [ROOT / "README.md", *sorted((ROOT / "docs").rglob("*.md"))]:
        for line in re.findall(r"^(?:\$ )?cakewright (.+)$", file.read_text(encoding="utf-8"), re.MULTILINE):
            words = line.split("#")[0].split()
            path = next((tuple(words[:n]) for n in (2, 1) if tuple(words[:n]) in known), None)
            if path is None:
                wrong.append((file.name, line)) if not words[0].startswith("-") else None
                continue
            options = {o for p in known[path].params for o in p.opts} | {"--help"}
            wrong += [
                (file.name, word) for word in words if word.startswith("--") and word.split("=")[0] not in options
            ]
    assert wrong == []


def test_the_page_of_checks_tells_the_last_run(made, tmp_path, monkeypatch):
    """Outcome by name with its parameters together, and the values; without a run it says so."""
    import check_results

    file = tmp_path / "tests.xml"
    monkeypatch.setattr(check_results, "RESULTS", file)
    assert check_results.results(file) == ("", {})
    file.write_text(
        """<testsuites><testsuite timestamp="2027-03-01T06:40:00.1">
        <testcase classname="tests.published.test_cost_unit" name="test_saw_tooth[1]"><properties>
        <property name="compared" value="2 against 2"/></properties></testcase>
        <testcase classname="tests.published.test_cost_unit" name="test_saw_tooth[2]"><failure/></testcase>
        <testcase classname="tests.cost.test_money" name="test_x"/></testsuite></testsuites>""",
        encoding="utf-8",
    )
    when, found = check_results.results(file)
    assert when == "2027-03-01 06:40" and list(found) == [("test_cost_unit", "test_saw_tooth")]
    result = found["test_cost_unit", "test_saw_tooth"]
    assert (result.words, result.shown) == ("1 of 2 failed", "2 against 2")
