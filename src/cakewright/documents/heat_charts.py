"""The opening clock, the density of the nest and the value at risk, as SVG."""

from __future__ import annotations

from datetime import timedelta

import numpy as np

from cakewright.documents.heat_pictures import INK, ON_COLOUR, PAPER, RULE, colour, moment_near, section_svg, svg, text
from cakewright.documents.heat_words import density_zones, may_leave_s, risk_of
from cakewright.documents.report_curves import nice_step, steps
from cakewright.documents.timeline import hours_of
from cakewright.documents.words import clock, day
from cakewright.model.build import Build
from cakewright.model.mesh import FloatArray
from cakewright.model.plan import WeekPlan
from cakewright.units import S_PER_H


def opening_clock_svg(plan: WeekPlan, build: Build) -> str:
    """A bar from print end to late opening with clock times: too hot, may leave the machine, uncertain, cool."""
    early, likely, late = build.cooling.opening_s
    end, zone = hours_of(plan, build).print_end, plan.cell.zone
    width, left, y, high = 640.0, 8.0, 44.0, 34.0
    span = max(late * 1.1, 1.0)

    def x(seconds: float) -> float:
        return left + (width - 2 * left) * min(seconds / span, 1.0)

    def when(seconds: float) -> str:
        if end is None:
            return f"+{seconds / S_PER_H:.1f} h"
        at = end + timedelta(seconds=seconds)
        return f"{day(at, zone)[:3]} {clock(at, zone)}"

    parts = ((0.0, early, "#d9774a", "too hot"), (early, late, "#f3d08a", "measure"), (late, span, "#cfe6d4", "cool"))
    body = [f'<rect width="100%" height="100%" fill="{PAPER}"/>']
    for a, b, fill, word in parts:
        body.append(
            f'<rect x="{x(a):.1f}" y="{y}" width="{x(b) - x(a):.1f}" height="{high}" fill="{fill}" stroke="{INK}"/>'
        )
        free = [(a, b)] if not a < likely < b else [(a, likely), (likely, b)]  # clear of the line at likely
        a, b = max(free, key=lambda ends: ends[1] - ends[0])  # noqa: PLW2901
        if x(b) - x(a) > 48:
            body.append(text((x(a) + x(b)) / 2, y + 22, word, 13, fill=ON_COLOUR))
    leave = may_leave_s(plan, build)
    marks = [(0.0, "print end"), (early, "early"), (likely, "likely"), (late, "late")]
    marks += [(leave, "may leave")] if np.isfinite(leave) and 0 < leave < span else []
    row_end = [-1e9, -1e9, -1e9]
    rows = 1
    for seconds, word in sorted(marks):
        at = min(max(x(seconds), 36.0), width - 40)
        row = next((i for i, taken in enumerate(row_end) if at - taken > 82), 2)
        row_end[row] = at
        rows = max(rows, row + 1)
        low = y + high + 16 + 26 * row
        ends = ((y - 6, y, INK), (y, y + high, ON_COLOUR), (y + high, low - 10, INK))
        body += [f'<path d="M{x(seconds):.1f} {a}V{b}" fill="none" stroke="{ink}"/>' for a, b, ink in ends]
        body += [text(at, low, when(seconds), 12, bold=True), text(at, low + 12, word, 11)]
    limit = f"below {build.cooling.target_c:g} °C at the hottest point"
    said = f"not before {when(early)}, probably {when(likely)}, slow case {when(late)}"
    body.append(text(left, 16, f"Open {limit}:", 12, anchor="start"))
    body.append(text(left, 34, said, 15, bold=True, anchor="start"))
    hours = f"{early / S_PER_H:.1f} to {late / S_PER_H:.1f} hours, likely {likely / S_PER_H:.1f}"
    label = f"Opening clock: {limit} after {hours}"
    return svg(f'viewBox="0 0 {width:g} {y + high + 10 + 27 * rows:g}"', label, body)


def density_svg(plan: WeekPlan, build: Build) -> str:
    """Share of plastic by zone: seen from above (fullest zone of each column) and from the front."""
    share, _ = density_zones(plan, build)
    if share.size == 0:
        return ""
    above, front = share.max(axis=0), share.max(axis=1)
    cell, gap, left, top = 34.0, 46.0, 8.0, 24.0
    most = max(float(share.max()), 0.01)
    body = [f'<rect width="100%" height="100%" fill="{PAPER}"/>']
    offset = left
    for word, grid in (("% plastic from above, front at the bottom", above), ("% plastic from the front", front)):
        body.append(text(offset, 15, word, 12, anchor="start"))
        for i, row in enumerate(grid):
            for j, value in enumerate(row):
                x, y = offset + j * cell, top + (len(grid) - 1 - i) * cell
                ink = PAPER if value > 0.55 * most else ON_COLOUR
                fill = f'fill="{colour(value / most)}" stroke="{RULE}"'
                body.append(f'<rect x="{x:.0f}" y="{y:.0f}" width="{cell}" height="{cell}" {fill}/>')
                body.append(text(x + cell / 2, y + cell / 2 + 4, f"{100 * value:.0f}", 12, fill=ink))
        offset += grid.shape[1] * cell + gap
    tall = top + max(len(above), len(front)) * cell + 8
    label = f"Share of plastic by zone, at most {100 * most:.0f} percent, mean {100 * float(share.mean()):.0f} percent"
    return svg(f'viewBox="0 0 {offset - gap + left:.0f} {tall:.0f}"', label, body)


def value_at_risk_svg(plan: WeekPlan, build: Build) -> str:
    """What a stop would leave over the height: finished, spoilt, not begun; the cell's currency."""
    risk = risk_of(plan, build).at_risk
    n = len(risk.complete)
    if n == 0:
        return ""
    keep = np.unique(np.linspace(0, n - 1, min(n, 240)).astype(int))
    z = (keep + 1) * build.profile.layer_mm
    done, cut = risk.complete[keep], risk.cut[keep]
    whole = max(float((risk.complete + risk.cut + risk.untouched).max()), 1e-9)
    width, tall, left, top, bottom = 460.0, 240.0, 52.0, 12.0, 40.0

    def x(mm: float) -> float:
        return left + (width - left - 12) * mm / float(n * build.profile.layer_mm)

    def y(value: float) -> float:
        return tall - bottom - (tall - bottom - top) * value / whole

    def area(low: FloatArray, high: FloatArray, fill: str) -> str:
        up = " ".join(f"{x(a):.1f},{y(b):.1f}" for a, b in zip(z, high, strict=True))
        down = " ".join(f"{x(a):.1f},{y(b):.1f}" for a, b in zip(z[::-1], low[::-1], strict=True))
        return f'<polygon points="{up} {down}" fill="{fill}" stroke="{INK}" stroke-width="0.6"/>'

    zero = np.zeros_like(done)
    body = [
        f'<rect width="100%" height="100%" fill="{PAPER}"/>',
        area(zero, done, "#cfe6d4"),
        area(done, done + cut, "#d9774a"),
        *(text(left - 5, y(v) + 4, f"{v:g}", 11, anchor="end") for v in steps(whole, nice_step(whole, 4))),
        *(text(x(m), tall - bottom + 15, f"{m:g}", 11) for m in steps(float(z[-1]), nice_step(float(z[-1]), 6))),
        f'<path d="M{left} {top}V{tall - bottom}H{width - 12}" fill="none" stroke="{INK}"/>',
        text((left + width) / 2, tall - 6, "stop at this height, mm", 12),
        text(
            left + 6,
            top + 12,
            f"{plan.cell.rates.currency}: blank not begun, orange spoilt, green finished",
            11,
            anchor="start",
        ),
    ]
    return svg(
        f'viewBox="0 0 {width:g} {tall:g}"',
        "Value of finished, spoilt and not begun pieces if the build stops at a height",
        body,
    )


def heat_pictures(plan: WeekPlan, build: Build) -> dict[str, str]:
    """Every picture of a build's heat as SVG text under a file name; fewer for plans made before heat was kept."""
    found = {
        f"{build.key}-opening-clock.svg": opening_clock_svg(plan, build),
        f"{build.key}-value-at-risk.svg": value_at_risk_svg(plan, build),
    }
    if build.heat is not None:
        early, likely, _ = build.cooling.opening_s
        for name, seconds in (("print-end", 0.0), ("early", early), ("likely", likely)):
            found[f"{build.key}-cut-{name}.svg"] = section_svg(build, moment_near(build.heat, seconds))
        found[f"{build.key}-density.svg"] = density_svg(plan, build)
    return found
