"""The cooling sheet: hangs on the chamber from the print end until somebody has measured and opened it."""

from __future__ import annotations

from typing import Any

import numpy as np

from cakewright.documents.heat_charts import opening_clock_svg
from cakewright.documents.heat_pictures import moment_near, moment_words, section_svg
from cakewright.documents.heat_words import after_hours, may_leave_words, piece_rows, warp_note
from cakewright.documents.sheet import set_pdf
from cakewright.documents.timeline import hours_of
from cakewright.documents.words import build_id, duration, moment
from cakewright.model.build import Build
from cakewright.model.plan import WeekPlan
from cakewright.safety import CLOSING, Work, cautions_of, to_wear

_MEASUREMENTS = 4
_MOST_PIECES = 8


def cooling_sheet_pdf(plan: WeekPlan, build_key: str) -> bytes:
    """The cooling sheet of a build as a PDF file, A4; readable in grey."""
    return set_pdf("cooling_sheet", _data(plan, plan.build(build_key)))


def _data(plan: WeekPlan, build: Build) -> dict[str, Any]:
    hours = hours_of(plan, build)
    zone = plan.cell.zone
    early, likely, late = build.cooling.opening_s
    x, y, z = build.cooling.hottest_mm
    chamber = plan.cell.chamber_type(build.chamber_type)
    depth = build.nest.height_mm + chamber.cover_mm - z
    return {
        "title": f"Cooling sheet · {plan.cell.name} · plan {plan.version}",
        "subtitle": f"{build.key} · {hours.chamber or 'chamber ____'}",
        "id": build_id(plan, build.key),
        "footer": f"{plan.cell.name} · plan {plan.version} · build {build.key} · cooling",
        "closing": CLOSING,
        "lead": f"Print end {moment(hours.print_end, zone)}. Open only when measured "
        f"below {build.cooling.target_c:g} °C.",
        "wear": list(to_wear(Work.HOT_CAKE)),
        "cautions": [c.short for c in cautions_of(Work.HOT_CAKE) if c.short not in to_wear(Work.HOT_CAKE)],
        "clock": opening_clock_svg(plan, build),
        "leave": may_leave_words(plan, build),
        "where": f"Put the probe into the hottest place: {x:.0f} mm from the left, {y:.0f} mm from the front, "
        f"{depth:.0f} mm below the surface.",
        "cuts": [_cut(build, seconds) for seconds in (0.0, early, likely)] if build.heat else [],
        "early": [_early(build, seconds) for seconds in after_hours(build) if 0 < seconds < likely]
        if build.heat
        else [],
        "pieces": _last_pieces(plan, build),
        "warp": warp_note(build),
        "range": f"early {duration(early)}, likely {duration(likely)}, late {duration(late)} after the print end",
        "rows": _MEASUREMENTS,
        "teach": f"Each reading makes the next date better: cakewright probe {build.key} <°C> --after-h <hours>",
    }


def _cut(build: Build, seconds: float) -> dict[str, str]:
    assert build.heat is not None
    at = moment_near(build.heat, seconds)
    return {"svg": section_svg(build, at), "words": moment_words(build.heat, at)}


def _early(build: Build, seconds: float) -> list[str]:
    """One row: when, pieces too hot, the hottest of them, the core."""
    assert build.heat is not None
    opened = build.heat.opened_at(seconds)
    hot = [c for _, c in opened if c > build.cooling.target_c]
    core = float(np.interp(seconds, build.cooling.curve_s, build.cooling.core_c))
    worst = f"{opened[0][0]} {opened[0][1]:.0f} °C" if opened else "-"
    return [duration(seconds), f"{len(hot)} of {len(opened)}", worst, f"{core:.0f} °C"]


def _last_pieces(plan: WeekPlan, build: Build) -> list[list[str]]:
    """The pieces that are cold last: why the cake must wait."""
    rows = sorted(piece_rows(plan, build, 0.0), key=lambda r: -_likely(build, r.piece))[:_MOST_PIECES]
    return [
        [r.piece, r.name[:40], f"{r.at_print_end_c:.0f} °C", r.cold[1], f"{r.cold[0]} to {r.cold[2]}"] for r in rows
    ]


def _likely(build: Build, piece: str) -> float:
    assert build.heat is not None
    return build.heat.of_piece(piece).opening_s[1]
