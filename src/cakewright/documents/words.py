"""Times, weights and names as people say them, the same on every paper."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from cakewright.model.build import Build, PowderNeed
from cakewright.model.plan import Task, TaskKind, WeekPlan
from cakewright.units import S_PER_MIN, hours_minutes

_DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
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


def build_id(plan: WeekPlan, build_key: str) -> str:
    """The plain text in the QR code of a build's papers."""
    return f"cakewright:plan-{plan.version}/build-{build_key}"
