"""Job logs of a machine as CSV: when each build started and ended, or how long each layer took.

Two forms, told apart by their heading, in any order of columns, comma, semicolon or tab between cells:

    build,start,end          one row per build; ISO 8601 times, with offset or in the cell's time zone
    build,layer,seconds      one row per part layer, counted from 1 (base and cover powder left out)
"""

from __future__ import annotations

import csv
import io
import math
import re
from collections import defaultdict
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np

from cakewright.errors import InputError
from cakewright.findings import Finding, Severity
from cakewright.physics.timefit import JobTimes

_SPANS = {"build", "start", "end"}
_LAYERS = {"build", "layer", "seconds"}
_MOST_LAYERS = 100_000


def read_job_log(path: str | Path, zone: ZoneInfo) -> tuple[list[JobTimes], list[Finding]]:
    """The builds of a log file, in the order of the file, and what was doubtful in it.

    Times without offset are local to `zone`. Raises InputError with line and remedy for a file that cannot
    be read, a heading that is neither form, or a cell that is no time and no number. Rows that repeat
    or layers that are missing are findings.
    """
    path = Path(path)
    rows = _rows(path)
    heading = set(rows[0][1]) if rows else set()
    if heading >= _SPANS:
        return _spans(rows, path, zone)
    if heading >= _LAYERS:
        return _layers(rows, path)
    raise InputError(
        f"the heading has {', '.join(sorted(heading)) or 'nothing'}",
        remedy="expected build, start, end or build, layer, seconds, and at least one row",
        where=str(path),
    )


def _rows(path: Path) -> list[tuple[int, dict[str, str]]]:
    try:
        text = path.read_bytes().decode("utf-8-sig")
    except OSError as wrong:
        raise InputError(f"cannot be read: {wrong.strerror}", remedy="give the job log", where=str(path)) from wrong
    except UnicodeDecodeError as wrong:
        raise InputError(f"byte {wrong.start} is not UTF-8", remedy="save it as UTF-8", where=str(path)) from wrong
    lines = text.splitlines()
    separator = max(",;\t", key=lines[0].count) if lines else ","
    reader = csv.DictReader(io.StringIO(text, newline=""), delimiter=separator)
    try:
        reader.fieldnames = [name.strip().lower() for name in reader.fieldnames or []]
    except csv.Error as wrong:
        raise InputError(f"not readable as CSV: {wrong}", remedy="export it again", where=str(path)) from wrong
    out = []
    for row in _read_all(reader, path):
        cells = {k: (v or "").strip() for k, v in row.items() if isinstance(k, str) and not isinstance(v, list)}
        if any(cells.values()):
            out.append((reader.line_num, cells))
    return out


def _read_all(reader: csv.DictReader[str], path: Path) -> Iterator[dict[str | Any, str | Any]]:
    try:
        yield from reader
    except csv.Error as wrong:
        raise InputError(f"not readable as CSV: {wrong}", remedy="export it again", where=str(path)) from wrong


def _spans(rows: list[tuple[int, dict[str, str]]], path: Path, zone: ZoneInfo) -> tuple[list[JobTimes], list[Finding]]:
    found: dict[str, JobTimes] = {}
    doubts = []
    for line, row in rows:
        where, build = f"{path} line {line}", _name(row, path, line)
        start, end = (_instant(row[what], what, where, zone) for what in ("start", "end"))
        if end <= start:
            raise InputError(f"build {build} ends before it starts", remedy="exchange or mend the times", where=where)
        if build in found:
            doubts.append(_twice(build, where))
        found[build] = JobTimes(build, (end - start).total_seconds(), start=start, end=end)
    return list(found.values()), doubts


def _layers(rows: list[tuple[int, dict[str, str]]], path: Path) -> tuple[list[JobTimes], list[Finding]]:
    seconds: dict[str, dict[int, float]] = defaultdict(dict)
    doubts = []
    for line, row in rows:
        where, build = f"{path} line {line}", _name(row, path, line)
        if not re.fullmatch(r"[1-9]\d{0,8}", row["layer"]) or int(row["layer"]) > _MOST_LAYERS:
            raise InputError(
                f"layer {row['layer'][:40]!r}", remedy=f"a whole number from 1 to {_MOST_LAYERS}", where=where
            )
        layer = int(row["layer"])
        if layer in seconds[build]:
            doubts.append(_twice(f"{build}, layer {layer}", where))
        seconds[build][layer] = _positive(row["seconds"], where)
    jobs = []
    for build, known in seconds.items():
        times = np.full(max(known), np.nan)
        times[np.array(list(known)) - 1] = list(known.values())
        missing = int(np.isnan(times).sum())
        if missing:
            doubts.append(
                Finding(
                    "joblog.layers-missing",
                    Severity.WARNING,
                    f"{missing} of {len(times)} layers are not in the log",
                    where=f"{path}: {build}",
                    remedy="they are left out of the fit; check the export",
                )
            )
        jobs.append(JobTimes(build, layer_s=times))
    return jobs, doubts


def _name(row: dict[str, str], path: Path, line: int) -> str:
    if not row["build"]:
        raise InputError("a row without a build", remedy="name the build in each row", where=f"{path} line {line}")
    return row["build"]


def _instant(text: str, what: str, where: str, zone: ZoneInfo) -> datetime:
    try:
        when = datetime.fromisoformat(text)
        return (when if when.tzinfo else when.replace(tzinfo=zone)).astimezone(UTC)
    except (ValueError, OverflowError) as wrong:  # the year 9999 west of here is no year
        raise InputError(
            f"{what} {text!r} is no time", remedy="write it as 2027-03-01T22:15 or 2027-03-01T22:15+01:00", where=where
        ) from wrong


def _positive(text: str, where: str) -> float:
    try:
        value = float(text.replace(",", ".")) if text.count(",") == 1 and "." not in text else float(text)
    except ValueError:
        value = math.nan
    if not (math.isfinite(value) and value > 0):
        raise InputError(f"{text!r} seconds", remedy="a number above zero", where=where)
    return value


def _twice(what: str, where: str) -> Finding:
    return Finding("joblog.twice", Severity.WARNING, f"{what} is there twice; the last counts", where=where,
                   remedy="remove one of the rows")  # fmt: skip
