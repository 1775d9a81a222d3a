"""Pages of the documentation that are made from the program: commands, numbers, published checks, benchmarks.

`mkdocs build` calls `on_files`; `python scripts/docs_pages.py commands` prints one page to look at.
"""

from __future__ import annotations

import ast
import re
import sys
from collections import defaultdict
from pathlib import Path
from typing import Any

NUMBERS_HEAD = """Made from the program. **default, unverified** means: chosen by us so that something works
at once; replace it by what you measured. **common practice, no source** means what it says."""
CHECKS_HEAD = """Made from `tests/published`: each row is a test that runs with every change. The last two
columns are made from the test run itself: what was computed against what is published."""
BENCHMARKS_HEAD = """Measured with the scripts in `benchmarks/`; each table names machine, date and command.
They are not run with every change: tests count work, they do not time it."""
PAGES_HEAD = "Made from the program. `{version}` is the number of a plan, `{key}` a build, `{number}` a line or quote."
SETTINGS_HEAD = """Made from the program. What is given on the command counts first, then the environment, then the
TOML file named by `--settings` or `CAKEWRIGHT_SETTINGS`, then the default. What is unknown or cannot be is refused at
the start, with its name. `packaging/serve.toml` is an example."""
ERRORS_HEAD = """Made from the program. Every error says what was found, where, and what to do; the command line ends
with exit code 2, the JSON interface answers with `code`, `found`, `remedy`, `where`."""
HERE = Path(__file__).resolve().parents[1]
sys.path[:0] = [str(HERE / "src"), str(HERE / "scripts")]

from check_results import Result, results  # noqa: E402


def commands() -> str:
    """Every command with its arguments and options, as `--help` says them."""
    from typer.main import get_command

    from cakewright.cli.main import HELP, cli

    rows = ["# Commands", "", "Made from the program: this is what `--help` says.", "", HELP.strip(), ""]
    for path, command in sorted(walk(get_command(cli), ())):
        rows += [f"## {' '.join(('cakewright', *path))}", "", _sentences(command.help or ""), ""]
        shown = [p for p in command.params if not getattr(p, "hidden", False) and p.name != "help"]
        if shown:
            rows += ["| argument or option | what | default |", "|---|---|---|"]
            rows += [f"| `{_name(p)}` | {_cell(getattr(p, 'help', '') or '')} | {_default(p)} |" for p in shown]
            rows.append("")
    return "\n".join(rows) + "\n"


def walk(command: Any, path: tuple[str, ...]) -> list[tuple[tuple[str, ...], Any]]:
    """(path, command) of every command that does something, groups opened."""
    if hasattr(command, "commands"):
        return [found for name, sub in command.commands.items() for found in walk(sub, (*path, name))]
    return [(path, command)]


def settings() -> str:
    """Every setting of `cakewright serve`: name in the file and in the environment, what it may be, what it means."""
    from cakewright.app.settings import SETTINGS

    head = "| setting | environment | may be | default | what |"
    rows = ["# Settings of `cakewright serve`", "", SETTINGS_HEAD, "", head, "|---|---|---|---|---|"]
    for s in SETTINGS:
        may = " or ".join(s.one_of) or s.kind.__name__.replace("tuple", "list of texts").replace("str", "text")
        if s.least is not None:
            may += f", {s.least:g} to {s.most:g}"
        default = "" if s.default in ("", ()) else f"`{s.default}`"
        rows.append(f"| `{s.name}` | `{s.variable}` | {may} | {default} | {_cell(s.meaning)} |")
    return "\n".join(rows) + "\n"


def numbers() -> str:
    """Every number with unit, status and source, by topic."""
    from cakewright.sources import all_references

    topics: dict[str, list[Any]] = defaultdict(list)
    for reference in all_references():
        topics[reference.name.split(".")[0]].append(reference)
    rows = ["# Every number and where it comes from", "", NUMBERS_HEAD, ""]
    count = defaultdict(int)
    for references in topics.values():
        for r in references:
            count[r.status.value] += 1
    rows += ["| status | numbers |", "|---|---|", *(f"| {s} | {n} |" for s, n in sorted(count.items())), ""]
    for topic, references in sorted(topics.items()):
        rows += [f"## {topic}", "", "| name | value | unit | status | source | note |", "|---|---|---|---|---|---|"]
        for r in references:
            span = "" if r.low is None or r.high is None else f" ({r.low:g} to {r.high:g})"
            rows.append(
                f"| `{r.name}` | {r.value:g}{span} | {_cell(r.unit)} | {r.status.value} | {_cell(r.source)} "
                f"| {_cell(r.note)} |"
            )
        rows.append("")
    return "\n".join(rows) + "\n"


def checks() -> str:
    """What is checked against published values, from the tests themselves."""
    when, told = results()
    ran = f"Run on {when}." if when else "Not run on this machine yet: `make test`, then `make docs`."
    rows = ["# Published checks", "", CHECKS_HEAD, "", ran, ""]
    for file in sorted((HERE / "tests" / "published").glob("test_*.py")):
        tree = ast.parse(file.read_text(encoding="utf-8"))
        head = " ".join((ast.get_docstring(tree) or "").split())
        found = [
            (node.name, " ".join((ast.get_docstring(node) or "").split()))
            for node in ast.walk(tree)
            if isinstance(node, ast.FunctionDef) and node.name.startswith("test_")
        ]
        title = file.stem.removeprefix("test_").replace("_", " ")
        rows += [f"## {title}", "", head, "", "| check | source and values | last run | computed against published |",
                 "|---|---|---|---|"]  # fmt: skip
        for name, source in found:
            last = told.get((file.stem, name), Result())
            words = last.words if (file.stem, name) in told else "not run"
            rows.append(f"| {_cell(name.removeprefix('test_').replace('_', ' '))} | {_cell(source)} | {words} "
                        f"| {_cell(last.shown)} |")  # fmt: skip
        rows.append("")
    return "\n".join(rows) + "\n"


def benchmarks() -> str:
    """The tables that were measured, each with machine and date, from `benchmarks/results`."""
    rows = ["# Benchmarks", "", BENCHMARKS_HEAD, ""]
    for file in sorted((HERE / "benchmarks" / "results").glob("*.md")):
        rows += [file.read_text(encoding="utf-8").strip(), ""]
    return "\n".join(rows) + "\n"


def changes() -> str:
    """What has changed, for the person at the machine."""
    rows = ["# What is new", ""]
    for file in sorted((HERE / "changelog.d").glob("*.md")):
        lines = [line.strip() for line in file.read_text(encoding="utf-8").splitlines() if line.strip()]
        rows += [
            f"## {file.stem.replace('-', ' ')}",
            "",
            *(x if x.startswith("- ") else f"- {x}" for x in _joined(lines)),
            "",
        ]
    return "\n".join(rows) + "\n"


def pages() -> str:
    """Every page of the web application and what it is for."""
    from importlib import import_module
    from pkgutil import iter_modules

    from fastapi import APIRouter

    import cakewright.web as package

    rows = ["# Pages of the web application", "", PAGES_HEAD, "", "| address | what it is for |", "|---|---|"]
    modules = [import_module(f"cakewright.web.{m.name}") for m in iter_modules(package.__path__)]
    routers = {id(r): r for m in modules for r in vars(m).values() if isinstance(r, APIRouter)}
    routes = [route for router in routers.values() for route in router.routes if "GET" in route.methods]
    for route in sorted(routes, key=lambda r: r.path):
        if not route.path.startswith("/api/"):
            told = " ".join((route.endpoint.__doc__ or "").split())
            rows.append(f"| `{route.path}` | {_cell(told)} |")
    return "\n".join(rows) + "\n"


def errors() -> str:
    """Every kind of error, its code and what it means."""
    from cakewright import errors as module

    rows = ["# Errors", "", ERRORS_HEAD, "", "| code | kind | when |", "|---|---|---|"]
    kinds = [k for k in vars(module).values() if isinstance(k, type) and issubclass(k, module.CakewrightError)]
    for kind in sorted(kinds, key=lambda k: k.code):
        rows.append(f"| `{kind.code}` | {kind.__name__} | {_cell(' '.join((kind.__doc__ or '').split()))} |")
    return "\n".join(rows) + "\n"


PAGES = {
    "reference/commands.md": commands,
    "reference/numbers.md": numbers,
    "reference/pages.md": pages,
    "reference/errors.md": errors,
    "reference/settings.md": settings,
    "explanation/published-checks.md": checks,
    "explanation/benchmarks.md": benchmarks,
    "whats-new.md": changes,
}


def on_files(files: Any, config: Any) -> Any:
    """mkdocs: add the pages that are made from the program."""
    from mkdocs.structure.files import File

    for path, make in PAGES.items():
        files.append(File.generated(config, path, content=make()))
    return files


def _joined(lines: list[str]) -> list[str]:
    """Lines that go on belong to the one before."""
    found: list[str] = []
    for line in lines:
        if found and not line.startswith("- ") and found[-1].startswith("- "):
            found[-1] += f" {line}"
        else:
            found.append(line)
    return found


def _sentences(text: str) -> str:
    return re.sub(r"\n(?!\n)\s*", " ", text.strip()) if "\n\n" not in text else text.strip()


def _cell(text: str) -> str:
    plain = " ".join(str(text).split())
    return plain.replace("|", "\\|").replace("<", "&lt;").replace(">", "&gt;").replace("*", "\\*").replace("_", "\\_")


def _name(parameter: Any) -> str:
    if parameter.param_type_name == "argument":
        return (parameter.metavar or parameter.name or "").upper()
    return ", ".join(parameter.opts)


def _default(parameter: Any) -> str:
    if parameter.required:
        return "must be given"
    value = parameter.default
    return "" if value in (None, False, "", ()) or callable(value) else f"`{value}`"


if __name__ == "__main__":
    print({make.__name__: make for make in PAGES.values()}[sys.argv[1]]())
