"""Tables as an XLSX workbook: text stays text, so that nothing typed by a stranger runs as a formula."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Mapping, Sequence
from datetime import date, datetime
from decimal import Decimal

import xlsxwriter

from cakewright.documents.tables import placements_csv, powder_csv, quotes_csv, schedule_csv
from cakewright.model.plan import WeekPlan

OPTIONS = {
    "in_memory": True,
    "strings_to_formulas": False,
    "strings_to_urls": False,
    "strings_to_numbers": False,
    "remove_timezone": True,
}
WIDEST = 60


def workbook_xlsx(sheets: Mapping[str, tuple[Sequence[str], Sequence[Sequence[object]]]]) -> bytes:
    """A workbook with one sheet for each name: heading row, then rows.

    Numbers, decimals and dates keep their kind; times are written as they stand, without their zone;
    everything else is text. Sheet names are cut to the 31 characters a workbook allows.
    """
    out = io.BytesIO()
    book = xlsxwriter.Workbook(out, OPTIONS)
    head = book.add_format({"bold": True, "bottom": 1})
    day = book.add_format({"num_format": "yyyy-mm-dd"})
    instant = book.add_format({"num_format": "yyyy-mm-dd hh:mm"})
    for name, (columns, rows) in sheets.items():
        sheet = book.add_worksheet(_sheet_name(name))
        for j, column in enumerate(columns):
            sheet.write_string(0, j, column, head)
            longest = max([len(column), *(len(str(row[j])) for row in rows)])
            sheet.set_column(j, j, min(longest + 2, WIDEST))
        for i, row in enumerate(rows, start=1):
            for j, value in enumerate(row):
                match value:
                    case bool():
                        sheet.write_boolean(i, j, value)
                    case int() | float() | Decimal():
                        sheet.write_number(i, j, value)
                    case datetime():
                        sheet.write_datetime(i, j, value, instant)
                    case date():
                        sheet.write_datetime(i, j, value, day)
                    case None:
                        pass
                    case _:
                        sheet.write_string(i, j, str(value))
        sheet.freeze_panes(1, 0)
        if rows:
            sheet.autofilter(0, 0, len(rows), len(columns) - 1)
    book.close()
    return out.getvalue()


def _sheet_name(name: str) -> str:
    return "".join("-" if c in r"[]:*?/\'" else c for c in name)[:31] or "table"


def plan_xlsx(plan: WeekPlan) -> bytes:
    """The four tables of a plan as sheets; numbers are numbers, everything else stays text."""
    tables = {
        "quotes": quotes_csv(plan),
        "schedule": schedule_csv(plan),
        "powder": powder_csv(plan),
        "placements": placements_csv(plan),
    }
    return workbook_xlsx({name: _read(text) for name, text in tables.items()})


def _read(text: str) -> tuple[Sequence[str], Sequence[Sequence[object]]]:
    columns, *rows = csv.reader(io.StringIO(text))
    return columns, [[_value(cell) for cell in row] for row in rows]


def _value(cell: str) -> object:
    try:
        number = float(cell)
    except ValueError:
        return cell.removeprefix("'") or None  # in a workbook text is text: no apostrophe needed
    return number if math.isfinite(number) else cell
