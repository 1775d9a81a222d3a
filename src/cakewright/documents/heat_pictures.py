"""The cut through the cake at a moment as SVG, and the pieces every heat picture is drawn with.

Colours run from pale to dark with temperature, so they also read in grey; numbers stand on the picture, so
nobody needs the colours. The pictures bring their own light paper and look the same on dark pages.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from cakewright.documents.report_curves import nice_step, steps
from cakewright.documents.words import duration
from cakewright.model.build import Build
from cakewright.model.heat import CakeHeat

PAPER, INK, SOFT, RULE = "#ffffff", "#1d1f22", "#5c6066", "#c9ccd1"  # pages put their own colours of the theme here
ON_COLOUR = "#1d1f21"  # ink on a coloured ground, which is pale in every theme
Cut = NDArray[np.float32]
_BAND_C = 10.0
_STOPS = ((0.0, (247, 247, 240)), (0.35, (253, 212, 128)), (0.7, (226, 112, 40)), (1.0, (110, 20, 20)))
_FONT = 'font-family="system-ui, DejaVu Sans, sans-serif"'


def moment_near(heat: CakeHeat, seconds: float) -> int:
    """Index of the kept moment nearest to a time after the print end."""
    return int(np.abs(heat.time_s - seconds).argmin())


def moment_words(heat: CakeHeat, at: int) -> str:
    """'4 h 10 min after the print end' or '6 h 00 min before the print end'."""
    seconds = float(heat.time_s[at])
    if abs(seconds) < 60:
        return "at the print end"
    much = duration(abs(seconds))
    return f"{much} after the print end" if seconds > 0 else f"{much} before the print end"


def section_svg(build: Build, at: int) -> str:
    """The cake cut from front to back at its middle, at kept moment `at`: front view, floor at the bottom.

    Bands of 10 °C, plastic outlined, °C written on it, the limit for opening as a dashed line.
    """
    heat = build.heat
    if heat is None:
        return ""
    field = heat.section_c[at]
    nz, nx = field.shape
    dz, dx = heat.cell_mm
    wide, tall = nx * dx, nz * dz
    left, top, bottom = 34.0, 8.0, 26.0
    size = f'viewBox="0 0 {wide + left + 58:.0f} {tall + top + bottom:.0f}"'
    hottest = float(np.nanmax(field))
    label = f"Cut through the cake {moment_words(heat, at)}: warmest {hottest:.0f} °C"
    hot = max(float(np.nanmax(heat.section_c)), build.cooling.target_c + 1)
    body = [
        f'<rect width="100%" height="100%" fill="{PAPER}"/>',
        f'<rect x="{left}" y="{top}" width="{wide:.1f}" height="{tall:.1f}" fill="none" stroke="{RULE}"/>',
        *_bands(field, (left, top), (dx, dz), hot),
        *_plastic(heat.section_solid, field, (left, top), (dx, dz)),
        *_isotherm(field, build.cooling.target_c, (left, top), (dx, dz)),
        *_numbers(field, (left, top), (dx, dz)),
        *_height_ticks(heat, tall, left, top),
        *_legend(hot, left + wide + 10, top, tall),
        text(left + wide / 2, tall + top + 17, f"{wide:.0f} mm wide, cut {heat.section_y_mm:.0f} mm from the front", 9),
    ]
    return svg(size, label, body)


def svg(size: str, label: str, body: list[str]) -> str:
    """A picture with a word for those who cannot see it; `size` is its viewBox attribute."""
    said = label.replace("&", "&amp;").replace('"', "&quot;").replace("<", "&lt;")
    head = f'<svg xmlns="http://www.w3.org/2000/svg" class="heat" role="img" aria-label="{said}" {size}>'
    return f"{head}{''.join(body)}</svg>"


def text(
    x: float, y: float, said: str, size: float, *, bold: bool = False, anchor: str = "middle", fill: str = INK
) -> str:
    """Words at a place of a picture."""
    said = said.replace("&", "&amp;").replace("<", "&lt;")
    weight = ' font-weight="700"' if bold else ""
    style = f'font-size="{size:g}"{weight} text-anchor="{anchor}" fill="{fill}" {_FONT}'
    return f'<text x="{x:.1f}" y="{y:.1f}" {style}>{said}</text>'


def colour(share: float) -> str:
    """'#rrggbb' from pale (0) to dark (1)."""
    share = min(max(share, 0.0), 1.0)
    at = [s for s, _ in _STOPS]
    rgb = [round(float(np.interp(share, at, [c[i] for _, c in _STOPS]))) for i in range(3)]
    return "#" + "".join(f"{v:02x}" for v in rgb)


def _bands(field: Cut, origin: tuple[float, float], cell: tuple[float, float], hot_c: float) -> list[str]:
    """Equal neighbours in a row become one rectangle: few hundred shapes instead of thousands."""
    (left, top), (dx, dz) = origin, cell
    nz, nx = field.shape
    out = []
    for row in range(nz):
        values = field[nz - 1 - row]
        if not np.isfinite(values).any():
            continue
        level = np.floor(values / _BAND_C)
        starts = np.flatnonzero(np.diff(level, prepend=np.inf) != 0)
        for a, b in zip(starts, np.append(starts[1:], nx), strict=True):
            fill = colour((level[a] + 0.5) * _BAND_C / hot_c)
            out.append(
                f'<rect x="{left + a * dx:.1f}" y="{top + row * dz:.1f}" width="{(b - a) * dx + 0.3:.1f}" '
                f'height="{dz + 0.3:.1f}" fill="{fill}"/>'
            )
    return out


def _edges(inside: np.ndarray, origin: tuple[float, float], cell: tuple[float, float]) -> str:
    """Path along the border of the cells in `inside` (nz, nx), floor row first."""
    (left, top), (dx, dz) = origin, cell
    nz = len(inside)
    padded = np.pad(inside, 1)
    path = []
    for z, x in zip(*np.nonzero(padded[1:, 1:-1] != padded[:-1, 1:-1]), strict=True):
        path.append(f"M{left + x * dx:.1f} {top + (nz - z) * dz:.1f}h{dx:.1f}")
    for z, x in zip(*np.nonzero(padded[1:-1, 1:] != padded[1:-1, :-1]), strict=True):
        path.append(f"M{left + x * dx:.1f} {top + (nz - z) * dz:.1f}v-{dz:.1f}")
    return "".join(path)


def _plastic(solid: Cut, field: Cut, origin: tuple[float, float], cell: tuple[float, float]) -> list[str]:
    path = _edges((np.asarray(solid) > 0.5) & np.isfinite(field), origin, cell)
    return [f'<path d="{path}" fill="none" stroke="{ON_COLOUR}" stroke-width="0.9"/>'] if path else []


def _isotherm(field: Cut, target_c: float, origin: tuple[float, float], cell: tuple[float, float]) -> list[str]:
    above = np.nan_to_num(field, nan=-1e9) > target_c
    path = _edges(above, origin, cell) if above.any() else ""
    style = f'fill="none" stroke="{SOFT}" stroke-width="1.6" stroke-dasharray="5 3"'
    return [f'<path d="{path}" {style}/>'] if path else []


def _numbers(field: Cut, origin: tuple[float, float], cell: tuple[float, float]) -> list[str]:
    """Temperatures written on the cake, about every 45 mm."""
    (left, top), (dx, dz) = origin, cell
    nz, nx = field.shape
    out = []
    for z in np.unique(np.linspace(0.5, nz - 1.5, max(int(nz * dz / 45), 2)).astype(int)):
        for x in np.unique(np.linspace(1, nx - 2, max(int(nx * dx / 45), 3)).astype(int)):
            if np.isfinite(field[z, x]):
                middle = top + (nz - z - 0.5) * dz
                at = left + (x + 0.5) * dx, min(max(middle, top + 10), top + nz * dz - 10) + 3
                out.append(f'<circle cx="{at[0]:.1f}" cy="{at[1] - 3:.1f}" r="9" fill="{PAPER}" fill-opacity="0.75"/>')
                out.append(text(at[0], at[1], f"{field[z, x]:.0f}", 8.5, fill=ON_COLOUR))
    return out


def _height_ticks(heat: CakeHeat, tall: float, left: float, top: float) -> list[str]:
    most = tall - heat.base_powder_mm
    return [
        text(left - 4, top + tall - (mm + heat.base_powder_mm) + 3, f"{mm:g}", 9, anchor="end", fill=SOFT)
        for mm in steps(most, nice_step(most, 5))
    ]


def _legend(hot_c: float, x: float, top: float, tall: float) -> list[str]:
    levels = np.arange(0, int(hot_c // _BAND_C) + 1)
    each = min(tall / len(levels), 14.0)
    out = []
    for i, level in enumerate(levels[::-1]):
        y = top + i * each
        fill = colour((level + 0.5) * _BAND_C / hot_c)
        out.append(f'<rect x="{x:.1f}" y="{y:.1f}" width="12" height="{each:.1f}" fill="{fill}"/>')
        if level % 2 == 0:
            out.append(text(x + 16, y + each, f"{level * _BAND_C:g} °C", 9, anchor="start", fill=SOFT))
    return out
