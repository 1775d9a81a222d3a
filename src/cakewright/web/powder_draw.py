"""Pictures of the powder pages as SVG: ages, where powder came from, stock to come. Style comes by class."""

from __future__ import annotations

from collections.abc import Sequence
from urllib.parse import quote

from markupsafe import Markup, escape

from cakewright.app.powder_family import Family, FamilyCan
from cakewright.app.powder_outlook import Outlook
from cakewright.web.speech import current

BOX_W, BOX_H, STEP_X, STEP_Y = 132.0, 46.0, 190.0, 64.0
EDGE = 10.0


def draw_ages(ages: Sequence[float]) -> Markup:
    """Bars: share of the powder by builds seen; the last one is older or not known."""
    width, high, bar = 46.0, 120.0, 34.0
    top = max(max(ages, default=0.0), 0.01)
    parts = []
    for k, share in enumerate(ages):
        x, h = 8 + k * width, high * share / top
        name = f"{k}" if k < len(ages) - 1 else f"{k}+ or ?"
        kind = "age-bar unknown" if k == len(ages) - 1 else "age-bar"
        parts.append(f'<rect class="{kind}" x="{x:.0f}" y="{24 + high - h:.1f}" width="{bar:.0f}" height="{h:.1f}"/>')
        if share >= 0.005:
            parts.append(f'<text class="age-share" x="{x + bar / 2:.0f}" y="{19 + high - h:.1f}">{share:.0%}</text>')
        parts.append(f'<text class="age-name" x="{x + bar / 2:.0f}" y="{high + 42:.0f}">{name}</text>')
    said = ", ".join(f"{share:.0%} at {k}" for k, share in enumerate(ages) if share >= 0.005)
    return _svg("ages", 16 + width * len(ages), high + 52, f"Share by builds seen: {said}", parts)


def draw_family(family: Family) -> Markup:
    """The can asked for on the left, what it came from in columns to the right; each way carries its share."""
    deepest = max(can.column for can in family.cans)
    places = _places(family.cans, deepest)
    rows = max(sum(1 for can in family.cans if can.column == c) for c in range(deepest + 1))
    parts = []
    for way in sorted(family.ways, key=lambda w: w.share):
        parts.append(_way(places[way.source], places[way.target], way.share))
    for can in family.cans:
        parts.append(_box(can, places[can.key], can.key == family.can))
    said = f"Where the powder of {family.can} came from: " + ", ".join(
        f"{w.share:.0%} from {w.source} to {w.target}" for w in family.ways[:12]
    )
    width, height = EDGE * 2 + deepest * STEP_X + BOX_W, EDGE * 2 + rows * STEP_Y + 30
    return _svg("family", width, height, said, parts, role="group")


def _places(cans: Sequence[FamilyCan], deepest: int) -> dict[str, tuple[float, float]]:
    places: dict[str, tuple[float, float]] = {}
    for column in range(deepest + 1):
        here = sorted((c for c in cans if c.column == column), key=lambda c: (-c.share, c.key))
        for row, can in enumerate(here):
            places[can.key] = (EDGE + column * STEP_X, EDGE + row * STEP_Y)
    return places


def _way(source: tuple[float, float], target: tuple[float, float], share: float) -> str:
    (x1, y1), (x2, y2) = source, target
    weight = 1.5 + 8 * share
    if x1 > x2:
        a, b = x1, x2 + BOX_W
        ya, yb = y1 + BOX_H / 2, y2 + BOX_H / 2
        path = f"M{a:.0f} {ya:.0f}C{a - 30:.0f} {ya:.0f} {b + 30:.0f} {yb:.0f} {b:.0f} {yb:.0f}"
        at, kind = (a - 4, ya - 5), "way"
    else:  # round the loop: out of a can that is drawn nearer
        a, b = x1 + BOX_W / 2, x2 + BOX_W / 2
        low = max(y1, y2) + BOX_H + 16
        path = f"M{a:.0f} {y1 + BOX_H:.0f}C{a:.0f} {low:.0f} {b:.0f} {low:.0f} {b:.0f} {y2 + BOX_H:.0f}"
        at, kind = ((a + b) / 2, low - 2), "way round"
    return (f'<path class="{kind}" stroke-width="{weight:.1f}" d="{path}"/>'
            f'<text class="way-share" x="{at[0]:.0f}" y="{at[1]:.0f}">{share:.0%}</text>')  # fmt: skip


def _box(can: FamilyCan, at: tuple[float, float], is_asked: bool) -> str:
    x, y = at
    kind = "can asked" if is_asked else "can"
    name, what = (
        escape(_short(current().label(can.key), 15)),
        escape(_short(current().label(f"lot {can.lot}" if can.lot else str(can.kind)), 18)),
    )
    return (f'<a href="/powder/cans/{_address(can.key)}">'
            f'<rect class="{kind}" x="{x:.0f}" y="{y:.0f}" width="{BOX_W:.0f}" '
            f'height="{BOX_H:.0f}" rx="4"/><text class="can-name" x="{x + 8:.0f}" y="{y + 19:.0f}">{name}</text>'
            f'<text class="can-kind" x="{x + 8:.0f}" y="{y + 37:.0f}">{what}</text></a>')  # fmt: skip


def draw_outlook(seen: Outlook) -> Markup:
    """Virgin and used stock over the weeks: the middle as a line, 10 to 90 % as a band."""
    left, width, high, gap = 60.0, 560.0, 150.0, 52.0
    parts = []
    for row, (name, start, quantiles, place) in enumerate(
        (("virgin", seen.virgin_kg, seen.projection.virgin_kg, None),
         ("used", seen.used_kg, seen.projection.used_kg, seen.used_place_kg))
    ):  # fmt: skip
        curves = [[start, *(float(v) for v in quantiles[q])] for q in range(3)]
        bottom, top = min(0.0, *curves[0]), max(*curves[2], 1.0)
        if place is not None and place < 1.5 * top:
            top = max(top, place * 1.05)
        y0 = 34 + row * (high + gap)

        def at(week: int, kg: float, y0: float = y0, bottom: float = bottom, top: float = top) -> str:
            x = left + width * week / seen.weeks
            return f"{x:.1f},{y0 + high * (1 - (kg - bottom) / (top - bottom)):.1f}"

        band = [at(w, v) for w, v in enumerate(curves[2])] + [at(w, v) for w, v in reversed(list(enumerate(curves[0])))]
        parts.append(f'<polygon class="band {name}" points="{" ".join(band)}"/>')
        parts.append(f'<polyline class="middle" points="{" ".join(at(w, v) for w, v in enumerate(curves[1]))}"/>')
        parts.append(f'<polyline class="axis" points="{at(0, 0)} {at(seen.weeks, 0)}"/>')
        parts.append(f'<text class="plot-name" x="{left:.0f}" y="{y0 - 12:.0f}">{name} powder, kg</text>')
        for kg in sorted({0.0, round(top), *([round(bottom)] if bottom < -1 else [])}):
            parts.append(
                f'<text class="tick" x="{left - 8:.0f}" y="{float(at(0, kg).split(",")[1]) + 5:.0f}">{kg:.0f}</text>'
            )
        if place is not None and place <= top:
            parts.append(f'<polyline class="limit" points="{at(0, place)} {at(seen.weeks, place)}"/>')
            y = float(at(0, place).split(",")[1])
            parts.append(
                f'<text class="limit-name" x="{left + 6:.0f}" y="{y - 5:.0f}">place in cans {place:.0f}</text>'
            )
    for week in range(0, seen.weeks + 1, max(1, seen.weeks // 8)):
        x = left + width * week / seen.weeks
        parts.append(
            f'<text class="week" x="{x:.0f}" y="{2 * (high + gap) + 14:.0f}">{f"w{week}" if week else "now"}</text>'
        )
    last = seen.weeks - 1
    said = (f"After {seen.weeks} weeks virgin {seen.projection.virgin_kg[1][last]:.0f} kg and used "
            f"{seen.projection.used_kg[1][last]:.0f} kg in the middle of the simulated weeks")  # fmt: skip
    return _svg("outlook", left + width + 20, 2 * (high + gap) + 26, said, parts)


def _svg(kind: str, width: float, height: float, said: str, parts: Sequence[str], role: str = "img") -> Markup:
    # with links in it a picture is a group: an image would hide them from a screen reader
    # the parts are numbers of ours and text that was escaped where it was put in
    return Markup(
        f'<svg class="powder-plot {kind}" viewBox="0 0 {width:.0f} {height:.0f}" width="{width:.0f}" role="{role}" '
        f'aria-label="{escape(said)}">{"".join(parts)}</svg>'
    )


def _short(text: str, most: int) -> str:
    return text if len(text) <= most else text[: most - 1] + "…"


def _address(key: str) -> str:
    return quote(key, safe="")
