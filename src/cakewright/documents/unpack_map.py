"""The unpacking map: from the top of the cake down, what comes next, seen from above and from the side."""

from __future__ import annotations

from typing import Any

from cakewright.documents.bands import Band, Group, bands, surface_mm
from cakewright.documents.heat_words import warp_note
from cakewright.documents.render import Colour, Picture, cake_frame, draw, piece_shape
from cakewright.documents.sheet import picture_svg, set_pdf
from cakewright.documents.tags import size_of, spread_tags
from cakewright.documents.timeline import hours_of
from cakewright.documents.words import build_id, count, listed, moment, title, trays
from cakewright.model.build import Build
from cakewright.model.plan import WeekPlan
from cakewright.safety import CLOSING, Work, to_wear

_NOW: tuple[Colour, ...] = ((0.34, 0.34, 0.34), (0.58, 0.58, 0.58), (0.45, 0.45, 0.45))
_LATER: Colour = (0.97, 0.97, 0.97)
_PICTURE_PX = 640
_MOST_SQUARES = 12
_MOST_TAGS = 40
_MOST_NAMED = 8
_ABOVE_MM, _TALLEST_MM, _TALLEST_FIRST_MM = 112.0, 118.0, 74.0  # the first band shares its sheet with the heading


def unpack_map_pdf(plan: WeekPlan, build_key: str) -> bytes:
    """The unpacking map of a build as a PDF file, A4, black and white, readable at arm's length."""
    build = plan.build(build_key)
    return set_pdf("unpack_map", _data(plan, build))


def _data(plan: WeekPlan, build: Build) -> dict[str, Any]:
    cut = bands(plan, build)
    hours = hours_of(plan, build)
    zone = plan.cell.zone
    opening = hours.opening or (None, None, None)
    likely, late = moment(opening[1], zone), moment(opening[2], zone)
    return {
        "title": f"Unpacking map · {plan.cell.name} · plan {plan.version}",
        "subtitle": build.key,
        "id": build_id(plan, build.key),
        "footer": f"{plan.cell.name} · plan {plan.version} · build {build.key} · unpacking map",
        "closing": CLOSING,
        "wear": list(to_wear(Work.OPEN_CAKE)),
        "intro": f"{hours.chamber or 'Chamber ____'} · {build.pieces} pieces · should be cool {likely}, "
        f"slow case {late}; measure before you open: below {build.cooling.target_c:g} °C",
        "depth_note": f"Depth counts from the surface of the cake, {surface_mm(plan, build):.0f} mm above the base. "
        + warp_note(build),
        "stuck": [f"{listed(g)} hang together: take them out as one, do not pull." for g in build.removal.stuck],
        "bands": [_band(plan, build, band, i, len(cut)) for i, band in enumerate(cut)],
    }


def _tag(letters: dict[int, str], named: set[str], piece: str, line: int) -> str:
    """'C', or 'C 01' for a piece that a warning speaks of."""
    return f"{letters[line]} {piece.rsplit('-', 1)[-1]}" if piece in named else letters[line]


def _named(band: Band) -> set[str]:
    """Pieces that a warning of this band speaks of."""
    waiting = {w.piece for w in band.waits} | {x for w in band.waits for x in w.before}
    ordered = {piece for piece, _ in band.first} | {x for _, before in band.first for x in before}
    return waiting | ordered | {piece for group in band.stuck for piece in group}


def _band(plan: WeekPlan, build: Build, band: Band, index: int, total: int) -> dict[str, Any]:
    letters, named = trays(build), _named(band)
    tag = {p.piece: _tag(letters, named, p.piece, p.line) for p in build.nest.placements}
    above, aside = _pictures(plan, build, band)
    height, width = above.pixels.shape[:2]
    side_h, side_w = aside.pixels.shape[:2]
    surface = surface_mm(plan, build)
    above_mm = _fitted(height / width, _TALLEST_MM if index else _TALLEST_FIRST_MM)
    return {
        "title": f"{band.top_mm:.0f} – {band.bottom_mm:.0f} mm deep",
        "number": f"{index + 1} of {total}",
        "count": count(len(band.pieces), "piece"),
        "above": picture_svg(above),
        "above_mm": list(above_mm),
        "tags": _tags(band, above, tag, named, build.caged, above_mm),
        "aside": picture_svg(aside),
        "aside_ratio": side_h / side_w,
        "from": aside.where((0.0, 0.0, min(surface - band.top_mm, build.nest.height_mm)))[1],
        "to": aside.where((0.0, 0.0, max(surface - band.bottom_mm, 0.0)))[1],
        "coming": _coming_words(plan, band, letters),
        "warnings": [*_stuck_words(band, tag), *_wait_words(band, tag)],
        "first": _first_words(band, tag),
        "rows": [_row(plan, g) for g in band.groups],
    }


def _tags(
    band: Band, above: Picture, tag: dict[str, str], named: set[str], caged: dict[str, tuple[str, ...]],
    above_mm: tuple[float, float],
) -> list[dict[str, Any]]:  # fmt: skip
    """Where the tags go: those with a warning first, so that they are never left out; one on each cage."""
    home = {piece: cage for cage, inside in caged.items() for piece in inside}
    tagged = dict.fromkeys(home.get(p.piece, p.piece) for p in band.pieces)
    shown = sorted((piece for piece in tagged if piece in above.spots), key=lambda piece: piece not in named)
    chosen = list(reversed(shown[:_MOST_TAGS]))
    pt = size_of(len(chosen))
    return [
        {
            "x": t.at[0],
            "y": t.at[1],
            "to_x": t.spot[0],
            "to_y": t.spot[1],
            "moved": t.is_moved,
            "text": t.text,
            "pt": pt,
        }
        for t in spread_tags([(tag[p], *above.spots[p][:2]) for p in chosen], *above_mm, pt)
    ]


def _fitted(ratio: float, tallest_mm: float) -> tuple[float, float]:
    """Width and height in mm of the picture from above: as large as the sheet allows."""
    width = min(_ABOVE_MM, tallest_mm / ratio)
    return width, width * ratio


def _pictures(plan: WeekPlan, build: Build, band: Band) -> tuple[Picture, Picture]:
    shade = {p.piece: _NOW[i % len(_NOW)] for i, g in enumerate(band.groups) for p in g.pieces}
    limit = surface_mm(plan, build) - band.top_mm
    left = [p for p in build.nest.placements if p.z_max_mm <= limit + 1e-9]

    shapes = [piece_shape(plan, p, shade.get(p.piece, _LATER)) for p in left]
    frame = cake_frame(plan, build)
    return draw(shapes, "top", _PICTURE_PX, (frame[0], frame[1], 0.0)), draw(shapes, "front", _PICTURE_PX, frame)


def _coming_words(plan: WeekPlan, band: Band, letters: dict[int, str]) -> list[str]:
    by_line: dict[int, list[float]] = {}
    for piece, deep in band.coming:
        by_line.setdefault(piece.line, []).append(deep)
    said = []
    for line, depths in by_line.items():
        where = f"{min(depths):.0f}" if max(depths) - min(depths) < 1 else f"{min(depths):.0f} – {max(depths):.0f}"
        said.append(f"{letters[line]} {title(plan.line(line))}: {len(depths)} from {where} mm")
    return said


def _wait_words(band: Band, tag: dict[str, str]) -> list[str]:
    return [
        f"{tag[w.piece]} ({w.piece}) is hooked under {_some(w.before, tag)}: "
        f"do not lift it yet, it comes free below {w.until_mm:.0f} mm."
        for w in band.waits
    ]


def _first_words(band: Band, tag: dict[str, str]) -> list[str]:
    """'E 7 before C 02 and F 10': what goes first inside the band, told from the piece that goes."""
    waiting: dict[str, list[str]] = {}
    for piece, before in band.first:
        for other in before:
            waiting.setdefault(other, []).append(piece)
    return [f"{tag[goes]} before {_some(tuple(stays), tag)}" for goes, stays in waiting.items()]


def _some(pieces: tuple[str, ...], tag: dict[str, str]) -> str:
    said = [tag[p] for p in pieces[:_MOST_NAMED]]
    return f"{', '.join(said)} and {len(pieces) - len(said)} more" if len(pieces) > len(said) else listed(said)


def _stuck_words(band: Band, tag: dict[str, str]) -> list[str]:
    return [f"{listed([f'{tag[p]} ({p})' for p in g])} hang together: take out as one." for g in band.stuck]


def _row(plan: WeekPlan, group: Group) -> dict[str, Any]:
    line = plan.line(group.line)
    n = len(group.pieces)
    return {
        "letter": group.letter,
        "name": f"{line.key} {title(line)}" + (f", in {count(group.cages, 'cage')}" if group.cages else ""),
        "count": f"{n} ×",
        "squares": n if n <= _MOST_SQUARES else 0,
        "of": f"of {n}",
        "fragile": group.is_delicate,
    }
