"""Curves of a build as SVG: sintered area up the height, temperature of the cake after the print."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import timedelta

import numpy as np
from numpy.typing import NDArray

from cakewright.documents.timeline import hours_of
from cakewright.documents.words import clock, day
from cakewright.model.build import Build, Cooling
from cakewright.model.mesh import FloatArray
from cakewright.model.plan import WeekPlan
from cakewright.units import S_PER_H

_POINTS = 240
_MM2_PER_CM2 = 100.0


def nice_step(span: float, about: int) -> float:
    """A step of 1, 2 or 5 times a power of ten that divides `span` into about `about` pieces."""
    rough = max(span, 1e-9) / about
    power = 10.0 ** np.floor(np.log10(rough))
    return float(next(power * m for m in (1, 2, 5, 10) if power * m >= rough * 0.999))


def steps(most: float, step: float) -> list[float]:
    """0, step, 2 step ... up to and including `most`."""
    return [k * step for k in range(int(most / step + 1e-9) + 1)]


@dataclass(frozen=True, slots=True)
class _Chart:
    """A drawing area with two linear axes from 0."""

    width: float
    height: float
    x_most: float
    y_most: float
    left: float = 46.0
    right: float = 12.0
    top: float = 14.0
    bottom: float = 42.0

    def x(self, value: float) -> float:
        return self.left + (self.width - self.left - self.right) * min(value / self.x_most, 1.0)

    def y(self, value: float) -> float:
        return self.base - (self.base - self.top) * value / self.y_most

    @property
    def base(self) -> float:
        return self.height - self.bottom

    def points(self, xs: Iterable[float], ys: Iterable[float]) -> str:
        return " ".join(f"{self.x(a):.1f},{self.y(b):.1f}" for a, b in zip(xs, ys, strict=True))

    def upright(self, value: float, kind: str) -> str:
        x = self.x(value)
        return f'<line class="{kind}" x1="{x:.1f}" x2="{x:.1f}" y1="{self.top}" y2="{self.base}"/>'

    def level(self, value: float, kind: str) -> str:
        y = self.y(value)
        return f'<line class="{kind}" x1="{self.left}" x2="{self.width - self.right}" y1="{y:.1f}" y2="{y:.1f}"/>'

    def below(self, value: float, text: str, row: int = 0) -> str:
        y = self.base + 15 + 15 * row
        return f'<text class="c-tick" text-anchor="middle" x="{self.x(value):.1f}" y="{y}">{text}</text>'

    def beside(self, value: float, text: str) -> str:
        return f'<text class="c-tick" text-anchor="end" x="{self.left - 6}" y="{self.y(value) + 4:.1f}">{text}</text>'

    def name(self, text: str) -> str:
        x = (self.left + self.width) / 2
        return f'<text class="c-name" text-anchor="middle" x="{x}" y="{self.height - 5}">{text}</text>'

    def svg(self, label: str, body: list[str]) -> str:
        return (
            f'<svg class="curve" role="img" aria-label="{label}" viewBox="0 0 {self.width:g} {self.height:g}" '
            f'xmlns="http://www.w3.org/2000/svg">{"".join(body)}</svg>'
        )


def _buckets(values: FloatArray, n: int) -> FloatArray:
    """The largest value of each of `n` equal stretches, so that no peak is lost."""
    if len(values) <= n:
        return values
    edges = np.linspace(0, len(values), n + 1).astype(int)
    return np.asarray(np.maximum.reduceat(values, edges[:-1]))


def area_svg(build: Build) -> str:
    """Sintered area of each layer, drawn upright like the cake: height up, area to the right."""
    area = _buckets(np.asarray(build.profile.area_mm2) / _MM2_PER_CM2, _POINTS)
    tall = build.profile.layers * build.profile.layer_mm
    step = nice_step(float(area.max()) or 1.0, 4)
    chart = _Chart(340, 300, max(1.03 * float(area.max()), step), tall)
    up = (np.arange(len(area)) + 0.5) * tall / len(area)
    path = chart.points(area, up)
    body = [
        f'<polygon class="c-fill" points="{chart.points([0], [0])} {path} {chart.points([0], [tall])}"/>',
        *(chart.upright(a, "c-grid") + chart.below(a, f"{a:g}") for a in steps(chart.x_most, step)),
        *(chart.beside(z, f"{z:g}") for z in steps(tall, nice_step(tall, 5))),
        f'<polyline class="c-line" points="{path}"/>',
        chart.name("area per layer, cm²"),
        f'<text class="c-name" transform="translate(11 {chart.base / 2:.0f}) rotate(-90)" '
        'text-anchor="middle">mm up</text>',
    ]
    return chart.svg("Sintered area per layer over the height of the build", body)


_CURVES = {"core": "hottest point", "mean": "mean", "skin": "skin"}
_STEP_C = 25.0


def temperature_svg(plan: WeekPlan, build: Build) -> str:
    """Hottest point, mean and skin after the print end, with the target and the opening range."""
    c = build.cooling
    shown_h = max(min(float(c.curve_s[-1]), c.opening_s[2] * 1.12) / S_PER_H, 0.1)
    top_c = _STEP_C * float(np.ceil(max(float(c.core_c.max()), c.target_c) / _STEP_C))
    chart = _Chart(460, 300, shown_h, top_c, bottom=56)
    early, likely, late = (s / S_PER_H for s in c.opening_s)
    body = [
        f'<rect class="c-range" x="{chart.x(early):.1f}" y="{chart.top}" '
        f'width="{chart.x(late) - chart.x(early):.1f}" height="{chart.base - chart.top:.1f}"/>',
        *(chart.level(t, "c-grid") + chart.beside(t, f"{t:g}") for t in steps(top_c, _STEP_C)),
        chart.upright(likely, "c-open"),
        chart.level(c.target_c, "c-target"),
        *_hour_ticks(plan, build, chart),
        *_curves(chart, c),
        f'<text class="c-mark" text-anchor="middle" x="{min(chart.x(likely), chart.width - 56):.1f}" '
        f'y="{chart.top + 13}">below {c.target_c:g} °C</text>',
        chart.name("hours after the print end; °C upwards"),
    ]
    return chart.svg("Temperature of the cake after the print end", body)


def _hour_ticks(plan: WeekPlan, build: Build, chart: _Chart) -> list[str]:
    end, zone = hours_of(plan, build).print_end, plan.cell.zone
    out = []
    for hour in steps(chart.x_most, max(nice_step(chart.x_most, 6), 1.0)):
        out.append(chart.below(hour, f"+{hour:g} h"))
        if end is not None:
            at = end + timedelta(hours=hour)
            out.append(chart.below(hour, f"{day(at, zone)[:3]} {clock(at, zone)}", row=1))
    return out


def _curves(chart: _Chart, c: Cooling) -> list[str]:
    keep: NDArray[np.int64] = np.linspace(0, len(c.curve_s) - 1, min(_POINTS, len(c.curve_s))).astype(np.int64)
    keep = keep[c.curve_s[keep] / S_PER_H <= chart.x_most]
    if len(keep) == 0:
        return []
    hours = c.curve_s[keep] / S_PER_H
    mark = len(keep) // 5
    out = []
    for name, values in (("core", c.core_c), ("mean", c.mean_c), ("skin", c.skin_c)):
        out.append(f'<polyline class="c-line c-{name}" points="{chart.points(hours, values[keep])}"/>')
        x, y = chart.x(float(hours[mark])) + 5, chart.y(float(values[keep[mark]])) - 6
        out.append(f'<text class="c-mark" x="{x:.1f}" y="{y:.1f}">{_CURVES[name]}</text>')
    return out
