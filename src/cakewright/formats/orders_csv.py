"""The order list: CSV as a spreadsheet writes it, to OrderList; every problem of the file in one message."""

from __future__ import annotations

import csv
import difflib
import io
import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path

from cakewright.errors import OrderListError
from cakewright.findings import Finding, Severity
from cakewright.model.cell import Cell
from cakewright.model.order import OrderLine, OrderList


@dataclass(frozen=True, slots=True)
class Column:
    """One column: what it means, whether it must be there, other headings that mean the same."""

    name: str
    what: str
    is_required: bool = False
    also: tuple[str, ...] = ()


COLUMNS = (
    Column("line", "number of the line, unique in the list", True),
    Column("order", "number of the order it belongs to"),
    Column("received", "day on which it came in, 2027-03-01"),
    Column("customer", "who asked"),
    Column("part", "name of the part", True),
    Column("rev", "revision", also=("revision",)),
    Column("qty", "pieces, a whole number of at least 1", True, ("quantity",)),
    Column("x_mm", "size in x as the customer states it, mm"),
    Column("y_mm", "size in y as the customer states it, mm"),
    Column("z_mm", "size in z as the customer states it, mm"),
    Column("vol_cm3", "volume as the customer states it, cm³"),
    Column("material", "name of a material of the cell", True),
    Column("finish", "name of a finish of the cell", True),
    Column("class", "name of a class of the cell; 'standard' when empty"),
    Column("due", "day on which it must be ready, 2027-03-05", True),
    Column("flags", "remarks, separated by commas"),
    Column("file", "name of the mesh file in the parts folder"),
)
DEFAULT_CLASS = "standard"
_NAMES = {alias: c.name for c in COLUMNS for alias in (c.name, *c.also)}
_FORMULA = ("=", "+", "-", "@")
_ISO = re.compile(r"(\d{4})-(\d{1,2})-(\d{1,2})")
_DOTTED = re.compile(r"(\d{1,2})\.(\d{1,2})\.(\d{4})")
_MOST_LISTED = 40


def read_orders(path: str | Path, cell: Cell) -> OrderList:
    """The order list in a CSV file, checked against the materials, finishes and classes of `cell`.

    Comma, semicolon or tab between cells; UTF-8 with or without byte order mark; columns as listed in
    `docs/reference/order-list.md`, in any order. Cells that look like formulas stay text. Raises one
    OrderListError that lists every problem with its line in the file and a remedy; doubts that stop
    nothing are in `OrderList.findings`.
    """
    path = Path(path)
    reading = _Reading(path, cell)
    rows = reading.rows(_text_of(path))
    lines = [line for number, row in rows if (line := reading.line(number, row)) is not None]
    reading.finish(lines)
    return OrderList(str(path), tuple(lines), tuple(reading.findings))


def _text_of(path: Path) -> str:
    try:
        return path.read_bytes().decode("utf-8-sig")
    except FileNotFoundError as wrong:
        raise OrderListError("there is no such file", remedy="give the order list", where=str(path)) from wrong
    except UnicodeDecodeError as wrong:
        raise OrderListError(
            f"byte {wrong.start} is not UTF-8", remedy="save it from the spreadsheet as 'CSV UTF-8'", where=str(path)
        ) from wrong
    except OSError as wrong:
        raise OrderListError(
            f"cannot be read: {wrong.strerror}", remedy="give the order list", where=str(path)
        ) from wrong


def _delimiter(header: str) -> str:
    bare = re.sub(r'"[^"]*"', "", header)
    return max(",;\t", key=bare.count)


@dataclass
class _Reading:
    """One pass over a list: collects problems instead of stopping at the first."""

    path: Path
    cell: Cell
    problems: list[OrderListError] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)
    first_seen: dict[int, int] = field(default_factory=dict)
    earliest: date | None = None

    def rows(self, text: str) -> list[tuple[int, dict[str, str]]]:
        """(line in the file, cells by column name) for every row that is not blank."""
        records = list(self._records(text))
        if not records:
            raise OrderListError("the file is empty", remedy=_wanted(), where=str(self.path))
        header_line, header = records[0]
        columns = self._columns(header_line, header)
        if len(records) == 1 and not self.problems:
            raise OrderListError("there is a heading but no order line", remedy="add lines", where=str(self.path))
        rows = []
        for number, cells in records[1:]:
            if len(cells) > len(header) and any(c.strip() for c in cells[len(header) :]):
                self._problem(
                    number,
                    f"{len(cells)} cells, but {len(header)} columns",
                    'put quotes around a cell that holds the separator, such as "tiny, cage"',
                )
                continue
            rows.append((number, {name: cells[i].strip() for i, name in columns.items() if i < len(cells)}))
        self.earliest = _earliest(row for _, row in rows)
        if "received" not in columns.values() and not self.problems:
            self._note("orders.received-missing", "there is no column 'received'",
                       "lines count as received on the earliest day in the list")  # fmt: skip
        return rows

    def line(self, at: int, row: dict[str, str]) -> OrderLine | None:
        """One order line; None when something is wrong with it (noted as a problem)."""
        before = len(self.problems)
        number = self._whole(at, row, "line", "a whole number of at least 1, unique in the list")
        if number and number in self.first_seen:
            self._problem(at, f"line {number} was there in line {self.first_seen[number]} of the file", "renumber one")
        self.first_seen.setdefault(number, at)
        quantity = self._whole(at, row, "qty", "a whole number of at least 1")
        due = self._date(at, row, "due")
        received = self._date(at, row, "received") if row.get("received") else self.earliest
        if due and received and row.get("received") and due < received:
            self._problem(at, f"due {due} is before received {received}", "exchange or mend the dates")
        names = {kind: self._known(at, row, kind) for kind in ("material", "finish", "class")}
        size = self._size(at, row)
        volume = self._positive(at, row, "vol_cm3") if row.get("vol_cm3") else None
        if not row.get("part"):
            self._problem(at, "the cell 'part' is empty", "write the name of the part")
        self._texts(at, row)
        if len(self.problems) > before or due is None or received is None:
            return None
        return OrderLine(
            line=number,
            order=row.get("order", ""),
            received=received,
            customer=row.get("customer", ""),
            part=row["part"],
            revision=row.get("rev", ""),
            quantity=quantity,
            material=names["material"],
            finish=names["finish"],
            quality_class=names["class"],
            due=due,
            file=row.get("file") or None,
            nominal_size_mm=size,
            nominal_volume_cm3=volume,
            flags=tuple(flag.strip() for flag in row.get("flags", "").split(",") if flag.strip()),
            where=f"{self.path.name}, line {at}",
        )

    def finish(self, lines: list[OrderLine]) -> None:
        """Raise what was collected."""
        if not self.problems:
            if not lines:
                raise OrderListError("there is no order line", remedy="add lines", where=str(self.path))
            return
        if len(self.problems) == 1:
            raise self.problems[0]
        self.problems.sort(key=lambda problem: int(problem.where.rpartition(" ")[2]))
        listed = "".join(f"\n  {problem.text}" for problem in self.problems[:_MOST_LISTED])
        more = len(self.problems) - _MOST_LISTED
        rest = f"\n  and {more} more" if more > 0 else ""
        raise OrderListError(f"{len(self.problems)} problems:{listed}{rest}", where=str(self.path))

    def _records(self, text: str) -> Iterator[tuple[int, list[str]]]:
        head = next((line for line in text.splitlines() if line.strip()), "")
        reader = csv.reader(io.StringIO(text, newline=""), delimiter=_delimiter(head), strict=True)
        last = 0
        try:
            for cells in reader:
                start, last = last + 1, reader.line_num
                if any(cell.strip() for cell in cells):
                    yield start, cells
        except csv.Error as wrong:
            raise OrderListError(
                f"not readable as CSV: {wrong}",
                remedy="close the quotes in that line, or save it again from the spreadsheet",
                where=f"{self.path}, line {last + 1}",
            ) from wrong

    def _columns(self, at: int, header: list[str]) -> dict[int, str]:
        columns: dict[int, str] = {}
        for i, heading in enumerate(header):
            plain = heading.strip().casefold()
            name = _NAMES.get(plain)
            if name and name in columns.values():
                self._problem(at, f"column {name!r} is there twice", "delete or rename one")
            elif name:
                columns[i] = name
            elif plain:
                near = difflib.get_close_matches(plain, list(_NAMES), n=1)
                hint = f"did you mean {near[0]!r}? " if near else ""
                self._note("orders.unknown-column", f"column {heading.strip()!r} is not used",
                           f"{hint}leave it or delete it")  # fmt: skip
        missing = [c for c in COLUMNS if c.is_required and c.name not in columns.values()]
        for column in missing:
            near = difflib.get_close_matches(column.name, [h.strip().casefold() for h in header], n=1)
            hint = f"; is it {near[0]!r}?" if near else ""
            self._problem(at, f"column {column.name!r} is missing{hint}", f"add it: {column.what}")
        if missing:
            self.finish([])  # without these columns every row would complain about the same thing
        return columns

    def _whole(self, at: int, row: dict[str, str], name: str, expected: str) -> int:
        cell = row.get(name, "")
        if not re.fullmatch(r"\d{1,9}", cell, re.ASCII) or int(cell) < 1:
            self._problem(at, f"{name} is {cell!r}, expected {expected}", f"write {expected}")
            return 0
        return int(cell)

    def _positive(self, at: int, row: dict[str, str], name: str) -> float:
        cell = row.get(name, "")
        plain = cell.replace(",", ".")
        if not re.fullmatch(r"\d+(\.\d+)?", plain, re.ASCII) or not float(plain) > 0:
            self._problem(
                at, f"{name} is {cell!r}, expected a number above 0", "write it such as 14.1, or leave it out"
            )
            return 0.0
        return float(plain)

    def _size(self, at: int, row: dict[str, str]) -> tuple[float, float, float] | None:
        given = [name for name in ("x_mm", "y_mm", "z_mm") if row.get(name)]
        if not given:
            return None
        if len(given) < 3:
            self._problem(at, f"only {', '.join(given)} of the size is given", "fill in x_mm, y_mm, z_mm or none")
            return None
        return (self._positive(at, row, "x_mm"), self._positive(at, row, "y_mm"), self._positive(at, row, "z_mm"))

    def _date(self, at: int, row: dict[str, str], name: str) -> date | None:
        cell = row.get(name, "")
        try:
            if hit := _ISO.fullmatch(cell):
                return date(int(hit[1]), int(hit[2]), int(hit[3]))
            if hit := _DOTTED.fullmatch(cell):
                return date(int(hit[3]), int(hit[2]), int(hit[1]))
        except ValueError:
            self._problem(at, f"{name} is {cell!r}: there is no such day", "mend the date")
            return None
        why = ", which is day or month first?" if "/" in cell else ""
        self._problem(at, f"{name} is {cell!r}, expected a day{why}", "write year-month-day, such as 2027-03-05")
        return None

    def _known(self, at: int, row: dict[str, str], kind: str) -> str:
        name = row.get(kind, "") or (DEFAULT_CLASS if kind == "class" else "")
        known = self._names(kind)
        for candidate in known:
            if candidate.casefold() == name.casefold():
                if kind == "material" and not self.cell.machines_for(candidate):
                    self._problem(at, f"no machine of the cell prints {candidate!r}", "use another material")
                return candidate
        near = difflib.get_close_matches(name, known, n=1, cutoff=0.8)  # PA11 is no misspelt PA12
        hint = f"did you mean {near[0]!r}? " if near else ""
        self._problem(at, f"{kind} {name!r} is not in the cell", f"{hint}known: {', '.join(known)}")
        return ""

    def _names(self, kind: str) -> list[str]:
        if kind == "material":
            return [material.name for material in self.cell.materials]
        if kind == "finish":
            return [finish.name for finish in self.cell.finishes]
        return [quality.name for quality in self.cell.classes]

    def _texts(self, at: int, row: dict[str, str]) -> None:
        for name in ("order", "customer", "part", "rev", "flags", "file"):
            cell = row.get(name, "")
            if any(ord(c) < 32 and c not in "\t\n\r" for c in cell):
                self._problem(at, f"{name} holds a control character: {cell!r}", "type the cell again")
            elif cell.startswith(_FORMULA) and len(cell) > 1:
                self.findings.append(
                    Finding(
                        "orders.formula-like",
                        Severity.NOTE,
                        f"{name} is {cell!r}: kept as text, nothing is calculated",
                        f"{self.path.name}, line {at}",
                        "have a look if a spreadsheet should have put a value there",
                    )
                )

    def _problem(self, at: int, found: str, remedy: str) -> None:
        self.problems.append(OrderListError(found, remedy=remedy, where=f"{self.path.name}, line {at}"))

    def _note(self, code: str, message: str, remedy: str) -> None:
        self.findings.append(Finding(code, Severity.NOTE, message, self.path.name, remedy))


def _earliest(rows: Iterator[dict[str, str]]) -> date | None:
    """The first day named anywhere, as the day on which lines without `received` came in."""
    days = []
    for row in rows:
        for name in ("received", "due"):
            try:
                days.append(date.fromisoformat(row.get(name, "")))
            except ValueError:
                if hit := _DOTTED.fullmatch(row.get(name, "")):
                    days += _day_or_none(hit)
    return min(days, default=None)


def _day_or_none(hit: re.Match[str]) -> list[date]:
    try:
        return [date(int(hit[3]), int(hit[2]), int(hit[1]))]
    except ValueError:
        return []


def _wanted() -> str:
    needed = ", ".join(column.name for column in COLUMNS if column.is_required)
    return f"write a heading with at least: {needed}; then one line for each part"
