"""The unpacking map: from the top of the cake down, what comes next, seen from above and from the side."""

from __future__ import annotations

from typing import Any

from cakewright.documents.bands import Band, Group, bands, surface_mm
from cakewright.documents.render import Colour, Picture, Shape, cake_frame, draw, piece_shape
from cakewright.documents.sheet import picture_svg, set_pdf
from cakewright.documents.timeline import hours_of
from cakewright.documents.words import build_id, count, listed, moment, trays
from cakewright.model.build import Build
from cakewright.model.plan import WeekPlan
from cakewright.safety import CLOSING, Work, to_wear

_NOW: Colour = (0.45, 0.45, 0.45)
_FRAGILE: Colour = (0.72, 0.72, 0.72)
_LATER: Colour = (0.95, 0.95, 0.95)
_PICTURE_PX = 640
_MOST_SQUARES = 12
_MOST_TAGS = 40
_MOST_NAMED = 8


def unpack_map_pdf(plan: WeekPlan, build_key: str) -> bytes:
    """The unpacking map of a build as a PDF file, A4, black and white, readable at arm's length."""
    build = plan.build(build_key)
    return set_pdf("unpack_map", _data(plan, build))


def _data(plan: WeekPlan, build: Build) -> dict[str, Any]:
    cut = bands(plan, build)
    hours = hours_of(plan, build)
    zone = plan.cell.zone
    early = moment(hours.opening[0], zone) if hours.opening else "no date"
    return {
        "title": f"Unpacking map · {plan.cell.name} · plan {plan.version}",
        "subtitle": build.key,
        "id": build_id(plan, build.key),
        "footer": f"{plan.cell.name} · plan {plan.version} · build {build.key} · unpacking map",
        "closing": CLOSING,
        "wear": list(to_wear(Work.OPEN_CAKE)),
        "intro": f"{hours.chamber or 'Chamber ____'} · {build.pieces} pieces · not before {early}, "
        f"hottest point below {build.cooling.target_c:g} °C",
        "depth_note": f"Depth counts from the surface of the cake, {surface_mm(plan, build):.0f} mm above the base.",
        "stuck": [f"{listed(g)} hang together: take them out as one, do not pull." for g in build.removal.stuck],
        "bands": [_band(plan, build, band, i, len(cut)) for i, band in enumerate(cut)],
    }


def _tag(letters: dict[int, str], named: set[str], piece: str, line: int) -> str:
    """'C', or 'C 01' for a piece that a warning speaks of."""
    return f"{letters[line]} {piece.rsplit('-', 1)[-1]}" if piece in named else letters[line]


def _named(build: Build) -> set[str]:
    pairs = {piece for piece, _ in build.removal.hooked} | {x for _, before in build.removal.hooked for x in before}
    return pairs | {piece for group in build.removal.stuck for piece in group}


def _band(plan: WeekPlan, build: Build, band: Band, index: int, total: int) -> dict[str, Any]:
    letters, named = trays(build), _named(build)
    tag = {p.piece: _tag(letters, named, p.piece, p.line) for p in build.nest.placements}
    above, aside = _pictures(plan, build, band)
    spots = above.spots
    height, width = above.pixels.shape[:2]
    shown = [p for p in band.pieces if p.piece in spots][:_MOST_TAGS]
    side_h, side_w = aside.pixels.shape[:2]
    surface = surface_mm(plan, build)
    return {
        "title": f"{band.top_mm:.0f} – {band.bottom_mm:.0f} mm deep",
        "number": f"{index + 1} of {total}",
        "count": count(len(band.pieces), "piece"),
        "above": picture_svg(above),
        "above_ratio": height / width,
        "tags": [{"x": spots[p.piece][0], "y": spots[p.piece][1], "text": tag[p.piece]} for p in shown],
        "aside": picture_svg(aside),
        "aside_ratio": side_h / side_w,
        "from": aside.where((0.0, 0.0, min(surface - band.top_mm, build.nest.height_mm)))[1],
        "to": aside.where((0.0, 0.0, max(surface - band.bottom_mm, 0.0)))[1],
        "coming": _coming_words(plan, band, letters),
        "warnings": [*_stuck_words(band, tag), *_wait_words(band, tag)],
        "rows": [_row(plan, g) for g in band.groups],
    }


def _pictures(plan: WeekPlan, build: Build, band: Band) -> tuple[Picture, Picture]:
    here = {p.piece for p in band.pieces}
    limit = surface_mm(plan, build) - band.top_mm
    left = [p for p in build.nest.placements if p.z_max_mm <= limit + 1e-9]

    def shape(piece_index: int) -> Shape:
        p = left[piece_index]
        colour = _LATER
        if p.piece in here:
            colour = _FRAGILE if plan.parts[p.part_key].is_delicate else _NOW
        return piece_shape(plan, p, colour)

    shapes = [shape(i) for i in range(len(left))]
    frame = cake_frame(build)
    return draw(shapes, "top", _PICTURE_PX, (frame[0], frame[1], 0.0)), draw(shapes, "front", _PICTURE_PX, frame)


def _coming_words(plan: WeekPlan, band: Band, letters: dict[int, str]) -> list[str]:
    by_line: dict[int, list[float]] = {}
    for piece, deep in band.coming:
        by_line.setdefault(piece.line, []).append(deep)
    said = []
    for line, depths in by_line.items():
        where = f"{min(depths):.0f}" if max(depths) - min(depths) < 1 else f"{min(depths):.0f} – {max(depths):.0f}"
        said.append(f"{letters[line]} {plan.line(line).title}: {len(depths)} from {where} mm")
    return said


def _wait_words(band: Band, tag: dict[str, str]) -> list[str]:
    return [
        f"{tag[piece]} ({piece}) is hooked under {listed([tag[b] for b in before[:_MOST_NAMED]])}"
        f"{' and others' if len(before) > _MOST_NAMED else ''}: do not lift it yet."
        for piece, before in band.waits
    ]


def _stuck_words(band: Band, tag: dict[str, str]) -> list[str]:
    return [f"{listed([f'{tag[p]} ({p})' for p in g])} hang together: take out as one." for g in band.stuck]


def _row(plan: WeekPlan, group: Group) -> dict[str, Any]:
    line = plan.line(group.line)
    n = len(group.pieces)
    return {
        "letter": group.letter,
        "name": f"{line.key} {line.title}",
        "count": f"{n} ×",
        "squares": n if n <= _MOST_SQUARES else 0,
        "of": f"of {n}",
        "fragile": group.is_delicate,
    }
