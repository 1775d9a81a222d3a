"""Times, weights and names as people say them, the same on every paper."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from datetime import datetime, timedelta
from urllib.parse import quote
from zoneinfo import ZoneInfo

from cakewright.model.build import Build, PowderNeed
from cakewright.model.order import OrderLine
from cakewright.model.plan import Task, TaskKind, WeekPlan
from cakewright.units import S_PER_MIN, hours_minutes

_DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
_LONG_RUN = re.compile(r"\S{14}(?=\S{4})")
_MAY_BREAK = "\u200b"
_TRAYS = "ABCDEFGHJKLMNPQRSTUVWXYZ"  # no I and no O: they read as 1 and 0


def day(when: datetime, zone: ZoneInfo) -> str:
    """'Tue 2 Mar' in the cell's time, whatever language the computer speaks."""
    local = when.astimezone(zone)
    return f"{_DAYS[local.weekday()]} {local.day} {_MONTHS[local.month - 1]}"


def clock(when: datetime, zone: ZoneInfo) -> str:
    """'07:10' in the cell's time."""
    return f"{when.astimezone(zone):%H:%M}"


def moment(when: datetime | None, zone: ZoneInfo) -> str:
    """'Tue 2 Mar 07:10' in the cell's time; 'no date' for None."""
    return "no date" if when is None else f"{day(when, zone)} {clock(when, zone)}"


def due(due_by: datetime, zone: ZoneInfo) -> str:
    """The last instant that is on time; only the day when that is the end of the day."""
    local = (due_by + timedelta(seconds=S_PER_MIN)).astimezone(zone)
    return day(due_by, zone) if (local.hour, local.minute) == (0, 0) else moment(due_by, zone)


def span(early: datetime, late: datetime, zone: ZoneInfo) -> str:
    """'Tue 2 Mar 07:10 – 09:40', with the second day only when it is another one."""
    if day(early, zone) == day(late, zone):
        return f"{moment(early, zone)} – {clock(late, zone)}"
    return f"{moment(early, zone)} – {moment(late, zone)}"


def duration(seconds: float) -> str:
    """Seconds as '19 h 05 min'."""
    return hours_minutes(seconds / S_PER_MIN)


def kg(mass_kg: float) -> str:
    """'12.40 kg'."""
    return f"{mass_kg:.2f} kg"


def charge(need: PowderNeed) -> tuple[str, str, str]:
    """(charge, virgin, used) as printed: used is what the other two leave, so that the sheet adds up."""
    whole, virgin = round(need.charge_kg, 2), round(need.virgin_kg, 2)
    return kg(whole), kg(virgin), kg(whole - virgin)


def percent(share: float, digits: int = 0) -> str:
    """0.403 -> '40 %'."""
    return f"{100 * share:.{digits}f} %"


def money(amount: float, currency: str) -> str:
    """'128.50 cu'."""
    return f"{amount:,.2f} {currency}".replace(",", " ")


def count(number: int, one: str, many: str = "") -> str:
    """'1 piece', '3 pieces'."""
    return f"{number} {one if number == 1 else many or one + 's'}"


def listed(items: Sequence[str], word: str = "and") -> str:
    """'a, b and c'."""
    if len(items) <= 1:
        return "".join(items)
    return f"{', '.join(items[:-1])} {word} {items[-1]}"


def size(mm: Sequence[float]) -> str:
    """'28 × 28 × 19 mm', one decimal below 10 mm."""
    return " × ".join(f"{side:.0f}" if side >= 10 else f"{side:.1f}" for side in mm) + " mm"


def grams(mass_g: float) -> str:
    """'4.9 g', '128 g': three digits at most."""
    return f"{mass_g:.0f} g" if mass_g >= 100 else f"{mass_g:.1f} g" if mass_g >= 1 else f"{mass_g:.2f} g"


def piece_mass_g(plan: WeekPlan, line: OrderLine) -> float | None:
    """Expected mass of one piece of a line in g: volume times sintered density; None without a mesh."""
    key = plan.part_of_line.get(line.line)
    if key is None or key not in plan.parts:
        return None
    return plan.parts[key].measures.volume_cm3 * plan.cell.material(line.material).sintered_density_g_cm3


def looks(plan: WeekPlan, line: OrderLine) -> str:
    """Size and mass of one piece, to tell grey parts apart: '28 × 28 × 19 mm · 4.9 g each'."""
    mass = piece_mass_g(plan, line)
    if mass is None:
        return ""
    return f"{size(plan.parts[plan.part_of_line[line.line]].measures.size_mm)} · {grams(mass)} each"


def tray_letter(index: int) -> str:
    """0 -> 'A', 23 -> 'Z', 24 -> 'AA'; without I and O."""
    letter = _TRAYS[index % len(_TRAYS)]
    return letter if index < len(_TRAYS) else tray_letter(index // len(_TRAYS) - 1) + letter


def trays(build: Build) -> dict[int, str]:
    """Tray letter of each line in a build: A belongs to the line met first on the way down."""
    tops: dict[int, float] = {}
    for p in build.nest.placements:
        tops[p.line] = max(tops.get(p.line, -1.0), p.z_max_mm)
    met = sorted(tops, key=lambda line: (-tops[line], line))
    return {line: tray_letter(i) for i, line in enumerate(met)}


def task_of(plan: WeekPlan, build_key: str, kind: TaskKind) -> Task | None:
    """The first task of a kind in a build, None when the schedule has none."""
    return next((t for t in plan.schedule.of_build(build_key) if t.kind is kind), None)


def held(tasks: Iterable[Task]) -> dict[str, tuple[datetime, datetime]]:
    """For each build how long it holds a machine or chamber, given the tasks there: first start to last end.

    A chamber is not free between two of its tasks: the cake stands in it.
    """
    spans: dict[str, tuple[datetime, datetime]] = {}
    for task in tasks:
        start, end = spans.get(task.build, (task.start, task.end))
        spans[task.build] = (min(start, task.start), max(end, task.end))
    return spans


def build_id(plan: WeekPlan, build_key: str) -> str:
    """The plain text in the QR code of a build's papers; signs other than letters and digits are %-quoted."""
    return f"cakewright:plan-{plan.version}/build-{quote(build_key, safe='-')}"


def title(line: OrderLine, most: int = 64) -> str:
    """Part and revision fit for print: one line, shortened to `most` characters, never without its revision.

    Runs without a space get places to break; the revision does not part from its 'rev'.
    """
    part = " ".join(line.part.split())
    part = part if len(part) <= most else part[: most - 1].rstrip() + "…"
    part = _LONG_RUN.sub(lambda run: run.group() + _MAY_BREAK, part)
    return f"{part} rev\u00a0{line.revision}" if line.revision else part
