"""The traveller: one sheet that goes with a build from the weighing bench to the trays."""

from __future__ import annotations

from typing import Any

from cakewright.documents.heat_words import may_leave_words, warp_pieces
from cakewright.documents.render import Picture, cake_frame, draw, piece_shape
from cakewright.documents.sheet import picture_svg, set_pdf
from cakewright.documents.timeline import BuildHours, hours_of
from cakewright.documents.verdicts import stop_reasons
from cakewright.documents.words import (
    build_id,
    charge,
    count,
    day,
    duration,
    listed,
    moment,
    percent,
    span,
    title,
    trays,
)
from cakewright.model.build import Build
from cakewright.model.plan import WeekPlan
from cakewright.safety import CLOSING, Work, to_wear
from cakewright.sources.safety import PRE_PRINT_MINUTES

CHECKS = (
    "Job name and build key on the screen are those on this sheet; revisions still as ordered",
    "Material settings chosen for this material",
    "Chamber and platform clean, level, seal whole",
    "Recoater blade or roller clean, no nick, moves freely",
    "Blend label scanned or read: material and kg as above",
    "Feed full, overflow empty",
    "Laser window and pyrometer window clean",
    "Heaters and temperature readings plausible",
    "Nitrogen or inert gas level, oxygen value, chiller, filter",
    "Earth strap on, emergency stop free, door shut, camera on",
)
_MOST_WARP = 5
_TRAYS_ON_FRONT = 24
_TRAYS_IN_ONE_COLUMN = 9  # as in the template: more stand in two columns, where long names leave no room


def traveller_pdf(plan: WeekPlan, build_key: str) -> bytes:
    """The traveller of a build as a PDF file, A4, black and white."""
    build = plan.build(build_key)
    return set_pdf("traveller", _data(plan, build, hours_of(plan, build)))


def _data(plan: WeekPlan, build: Build, hours: BuildHours) -> dict[str, Any]:
    letters = _tray_rows(plan, build)
    return {
        "title": f"Traveller · {plan.cell.name} · plan {plan.version}",
        "subtitle": build.key,
        "id": build_id(plan, build.key),
        "footer": f"{plan.cell.name} · plan {plan.version} · build {build.key} · {build.machine}",
        "closing": CLOSING,
        "stop": list(stop_reasons(build)),
        "place": f"{build.machine} · {hours.chamber or 'chamber ____'}",
        "material": build.material,
        "pieces": f"{build.pieces} · {len(build.lines)}",
        "height": f"{build.nest.height_mm:.0f} mm high, {build.profile.layers} layers of {build.profile.layer_mm:g} mm",
        **_times(plan, build, hours),
        **_charge(build),
        "picture": picture_svg(_grey_nest(plan, build)),
        "trays": letters[:_TRAYS_ON_FRONT],
        "more_trays": _more(letters),
        "steps": _steps(plan, build),
    }


def _times(plan: WeekPlan, build: Build, hours: BuildHours) -> dict[str, str]:
    zone = plan.cell.zone
    early, likely, late = hours.opening or (None, None, None)
    return {
        "start": moment(hours.load, zone),
        "start_note": f"{listed(hours.loader) or 'nobody named'}; laser from {moment(hours.print_start, zone)}",
        "end": moment(hours.print_end, zone),
        "end_note": f"± {duration(hours.spread.total_seconds())}; prints {duration(build.print_time.total_s)}",
        "opening": moment(likely, zone),
        "opening_note": "no print end in the schedule"
        if early is None or late is None
        else f"range {span(early, late, zone)}; measure: below {build.cooling.target_c:g} °C",
        "unpack": moment(hours.unpack, zone),
        "unpack_note": listed(hours.unpacker) or "nobody named",
    }


def _charge(build: Build) -> dict[str, str]:
    need = build.powder
    whole, virgin, used = charge(need)
    reason = f"refresh {percent(need.refresh_ratio)}: {need.refresh_reason}"
    return {"charge": whole, "virgin": virgin, "used": used, "blend_note": reason}


def _grey_nest(plan: WeekPlan, build: Build) -> Picture:
    greys = (0.95, 0.62, 0.80, 0.48, 0.88, 0.70)
    of_line = {line: greys[i % len(greys)] for i, line in enumerate(build.lines)}
    shapes = [piece_shape(plan, p, (g := of_line[p.line], g, g)) for p in build.nest.placements]
    return draw(shapes, "corner", 900, cake_frame(plan, build))


def _tray_rows(plan: WeekPlan, build: Build) -> list[dict[str, str]]:
    rows = []
    for number, letter in trays(build).items():
        line = plan.line(number)
        name, promised = title(line, 40), _promised(plan, number)
        room = len(build.lines) <= _TRAYS_IN_ONE_COLUMN or len(name) + len(promised) <= 40
        name = f"{line.key} {name}{promised if room else ''}"
        rows.append({"letter": letter, "count": f"{len(build.pieces_of(number))} ×", "name": name})
    return rows


def _promised(plan: WeekPlan, number: int) -> str:
    """The day by which the line is ready in nine of ten simulated weeks: whoever decides at the machine sees it."""
    promise = next((p for p in plan.promises if p.line == number), None)
    return f" · 90 %: {day(promise.p90, plan.cell.zone)}" if promise and promise.p90 else ""


def _more(letters: list[dict[str, str]]) -> str | None:
    rest = len(letters) - _TRAYS_ON_FRONT
    return f"and {count(rest, 'line')} more: see the unpacking map" if rest > 0 else None


def _warp(build: Build) -> str:
    """'May warp: L07-03 and 2 more. ', '' when none; what to do with them stands on map and cooling sheet."""
    pieces = warp_pieces(build)
    more = f" and {len(pieces) - _MOST_WARP} more" if len(pieces) > _MOST_WARP else ""
    return f"May warp: {', '.join(pieces[:_MOST_WARP])}{more}. " if pieces else ""


def _steps(plan: WeekPlan, build: Build) -> list[dict[str, Any]]:
    def step(title: str, *works: Work, **more: Any) -> dict[str, Any]:
        empty: dict[str, Any] = {"ticks": [], "notes": [], "sign": []}
        return {"title": title, "wear": list(to_wear(*works)), **empty, **more}

    whole, virgin, used = charge(build.powder)
    delicate = sorted(
        {plan.parts[p.part_key].name for p in build.nest.placements if plan.parts[p.part_key].is_delicate}
    )
    fragile = f"Fragile: {listed(delicate)}. " if delicate else ""
    return [
        step(
            f"Weigh and fill {whole}",
            Work.BLEND,
            ticks=[f"{used} used and {virgin} virgin weighed, mixed, labelled (powder slip)"],
        ),
        step(
            f"Check (about {PRE_PRINT_MINUTES.value:g} minutes), then start",
            ticks=list(CHECKS),
            notes=[f"These checks and their duration: {PRE_PRINT_MINUTES.source}. Your own list comes first."],
            sign=["Released by (second person) · time", "Started by · time"],
        ),
        step(
            "Lift the chamber out",
            Work.HOT_CAKE,
            ticks=["Print end and last layer noted", "Cooling sheet on trolley; opening time written on it"],
            notes=[words for words in (may_leave_words(plan, build, is_brief=True),) if words],
            sign=["Lifted out by · time", "Opened by · time · core °C"],
        ),
        step(
            "Break out into trays, from the top",
            Work.OPEN_CAKE,
            notes=[f"{fragile}{_warp(build)}Never pull: when a piece does not come, look at the unpacking map."],
            ticks=["Labelled trays stand in the order of page 1", "Every piece counted against the unpacking map"],
            sign=["Unpacked and counted by · time", "Chamber cleaned by · time"],
        ),
    ]
