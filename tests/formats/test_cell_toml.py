"""The cell file: complete, strict, and every problem named at once."""

import dataclasses
import re
import typing
from datetime import date, time
from pathlib import Path

import pytest

from cakewright.errors import CellError
from cakewright.formats.cell_schema import TABLES, Key, Table
from cakewright.formats.cell_toml import cell_template, read_cell
from cakewright.sources import Status
from cakewright.sources.cell import CELL_DEFAULTS
from tests.conftest import ROOT

PAGE = ROOT / "docs" / "reference" / "cell-file.md"


@pytest.fixture
def broken(tmp_path):
    """The template with some text exchanged; returns the message with which it is refused."""

    def refuse(*exchanges: tuple[str, str]) -> str:
        text = cell_template()
        for old, new in exchanges:
            assert old in text, old
            text = text.replace(old, new)
        path = tmp_path / "cell.toml"
        path.write_text(text, encoding="utf-8")
        with pytest.raises(CellError) as caught:
            read_cell(path)
        return str(caught.value)

    return refuse


def tables(which: tuple[Table, ...] = TABLES, above: str = "") -> list[tuple[str, Table]]:
    found = []
    for table in which:
        found.append((above + table.name, table))
        found += tables(table.inner, f"{above}{table.name}.")
    return found


def keys() -> list[tuple[str, Key]]:
    return [(dotted, key) for dotted, table in tables() for key in table.keys]


def test_the_template_is_a_cell(tmp_path):
    """What `cakewright init` writes can be read as it is."""
    path = tmp_path / "cell.toml"
    path.write_text(cell_template(), encoding="utf-8")
    cell = read_cell(path)
    assert cell.machines[0].layer_mm == CELL_DEFAULTS["machine.layer_mm"].value
    assert cell.people[0].shifts[0].breaks == ((time(12), time(12, 30)),)
    assert cell.people[0].shifts[0].weekdays == (0, 1, 2, 3, 4)
    assert cell.source == str(path)


def test_every_number_of_the_template_says_where_it_comes_from():
    """A number in the template has unit or note, status and source behind it, or is one of the plain factors."""
    statuses = "|".join(Status)
    for line in cell_template().splitlines():
        if re.match(r"\w+ = [\d.]+ ", line):
            assert re.search(rf"# .*({statuses}): .+", line), line


def test_every_starting_value_is_used_by_the_template():
    """No forgotten reference: each one appears in the template file."""
    raw = (ROOT / "src/cakewright/formats/cell_template.toml").read_text(encoding="utf-8")
    assert {name for name in CELL_DEFAULTS if f"@{name}\n" not in raw} == set()


def test_everything_in_the_model_can_be_set():
    """Each field of each model class has a key or a table in the file."""
    for _, table in tables():
        settable = {key.field or key.name for key in table.keys} | {inner.field for inner in table.inner}
        if table.name == "cell":
            settable |= {t.field for t in TABLES if t.field} | {"source"}
        wanted = {field.name for field in dataclasses.fields(typing.cast(type, table.make))}
        if table.name == "person":
            wanted -= {"until"}  # the end of a training is entered on its page, not in the cell file
        assert settable == wanted, table.name


@pytest.mark.parametrize("dotted, key", keys(), ids=lambda x: x if isinstance(x, str) else x.name)
def test_every_key_is_documented(dotted, key):
    """The reference page lists the key with its meaning in the section of its table."""
    section = re.split(r"\n#+ `\[+" + re.escape(dotted) + r"\]+`\n", PAGE.read_text(encoding="utf-8"))
    assert len(section) == 2, f"no section for {dotted}"
    rows = re.split(r"\n#+ ", section[1])[0]
    assert f"| `{key.name}` | {key.what} |" in rows
    required = "required" in rows.split(f"| `{key.name}` |")[1].split("\n")[0]
    assert required == key.is_required


def test_a_spelling_mistake_names_the_line_and_the_right_word(broken):
    """One misspelt key is one problem, with its line and a suggestion."""
    message = broken(("layer_mm = ", "layr_mm = "))
    line = next(n for n, t in enumerate(cell_template().splitlines(), 1) if t.startswith("layer_mm"))
    assert f"line {line}: machine 'A1': unknown key 'layr_mm' -> did you mean 'layer_mm'?" in message
    assert "missing" not in message


def test_all_problems_come_at_once(broken):
    """Three mistakes in three tables: one message, three lines."""
    message = broken(("recoat_s = 10", 'recoat_s = "10"'), ("[rates]", "[rate]"), ("failed = 3", "failed = -3"))
    assert "3 problems" in message
    for part in (
        "recoat_s is '10', expected a number",
        "did you mean 'rates'",
        "failed is -3, expected a whole number",
    ):
        assert part in message


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("layer_mm = 0.1 ", "layer_mm = 0 ", "layer_mm is 0, expected a number above 0"),
        ("layer_mm = 0.1 ", "layer_mm = nan ", "layer_mm is nan"),
        ("loss_fraction = 0.04", "loss_fraction = 4", "at most 1"),
        ("clean_min = 30", "clean_min = 30.5", "a whole number at least 0"),
        ("clean_min = 30", "clean_min = true", "clean_min is true"),
        ('start = "08:00"', 'start = "8 o\'clock"', "expected a time"),
        ('start = "08:00"', 'start = "24:00"', "expected a time"),
        ('start = "08:00"', 'start = "17:00"', "ends before it starts"),
        ('["12:00-12:30"]', '["17:00-17:30"]', "a pause outside the shift"),
        ('["12:00-12:30"]', '["12:30-12:00"]', "each ending after it starts"),
        ('"thu", "fri"', '"thursday", "fri"', "weekdays out of mon, tue"),
        ("absent = []", "absent = ['2027-02-30']", "days that exist"),
        ("shrink_factor = [1.0, 1.0, 1.0]", "shrink_factor = [1.0, 1.0]", "three numbers"),
        ('"inspect", "pack"]', '"inspect"]', "nobody has the skill 'pack'"),
        ('timezone = "UTC"', 'timezone = "Nowhere/At_All"', "time zone 'Nowhere/At_All'"),
        ('[[chamber]]\nname = "K1"', '[[chamber]]\nname = ""', "name is ''"),
        ("opening_temperature_c = 50", "opening_temperature_c = 20", "it never gets that cold"),
        ("bed_density_g_cm3 = 0.47", "bed_density_g_cm3 = 1.2", "exchange the two densities"),
        ("wall_margin_mm = 5", "wall_margin_mm = 95", "no room left"),
        ("staffed_min = 25", "staffed_min = 95", "95 min of hands in a step of 75 min"),
        ("failed = 3", "failed = 300", "exchange failed and builds"),
        ('station_kind = "dye"', 'station_kind = "bath"', "station kind 'bath'"),
        ("[nesting]", "[[nesting]]", "write one table [nesting]"),
        ("[[station]]", "[[stations]]", "did you mean 'station'?"),
        ("[cell]", "colour = 3\n[cell]", "key outside any table 'colour'"),
        ("[cell]", "[cell", "not a TOML file"),
    ],
)
def test_what_cannot_be_meant_is_refused(broken, old, new, said):
    """Each mistake is refused with a message that names it and a remedy."""
    message = broken((old, new))
    assert said in message
    assert "->" in message


def test_a_missing_table_says_what_belongs_in_it(broken):
    """Without rates the message lists the keys of the table."""
    text = cell_template()
    rates = text[text.index("[rates]") : text.index("[nesting]")]
    assert "add it: [rates] with currency, hands_per_h" in broken((rates, ""))


def test_a_missing_file_says_how_to_get_one(tmp_path):
    """The message names the command that writes a cell file."""
    with pytest.raises(CellError, match="cakewright init"):
        read_cell(tmp_path / "none.toml")


def test_other_encodings_are_named(tmp_path):
    """A file saved in an old code page is refused, not half understood."""
    path = tmp_path / "cell.toml"
    path.write_bytes(cell_template().replace("My cell", "Sälle").encode("latin-1"))
    with pytest.raises(CellError, match="UTF-8"):
        read_cell(path)


def test_holidays_and_absences_become_days(tmp_path):
    """Bare and quoted days are both understood, doubles are dropped."""
    text = cell_template().replace("holidays = []", "holidays = [2027-05-17, '2027-05-01', 2027-05-01]")
    path = Path(tmp_path / "cell.toml")
    path.write_text(text, encoding="utf-8")
    assert read_cell(path).holidays == (date(2027, 5, 1), date(2027, 5, 17))
