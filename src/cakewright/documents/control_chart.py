"""A control chart as SVG: points in order, mean, limits, tolerance; what is unusual has a shape and a number."""

from __future__ import annotations

from html import escape

from cakewright.quality.spc import Chart, Signal

_W, _H, _LEFT, _RIGHT, _TOP, _BOTTOM = 720.0, 260.0, 64.0, 16.0, 16.0, 30.0


def control_chart_svg(
    chart: Chart, signals: tuple[Signal, ...], *, low: float | None = None, high: float | None = None, title: str
) -> str:
    """The chart of single values, 720 x 260; `low` and `high` are tolerance limits, drawn apart from its own."""
    n = len(chart.points)
    given = [float(v) for v in (*chart.points, *chart.low, *chart.high)]
    given += [v for v in (low, high) if v is not None]
    bottom, top = min(given), max(given)
    pad = (top - bottom) * 0.06 or 1.0
    bottom, top = bottom - pad, top + pad

    def x(i: int) -> float:
        return _LEFT + (_W - _LEFT - _RIGHT) * (i + 0.5) / n

    def y(value: float) -> float:
        return _TOP + (_H - _TOP - _BOTTOM) * (top - value) / (top - bottom)

    lines = [
        (chart.centre, "mean", ""),
        (float(chart.high[-1]), "limit", "8 5"),
        (float(chart.low[-1]), "limit", "8 5"),
    ]
    lines += [(v, "tolerance", "2 4") for v in (low, high) if v is not None]
    body = []
    for value, word, dash in lines:
        dashed = f' stroke-dasharray="{dash}"' if dash else ""
        body.append(
            f'<line class="chart-{word}" x1="{_LEFT}" x2="{_W - _RIGHT}" y1="{y(value):.1f}" '
            f'y2="{y(value):.1f}"{dashed}/>'
            f'<text x="{_LEFT - 6}" y="{y(value) + 4:.1f}" text-anchor="end">{value:.3f}</text>'
        )
    for limit in (chart.low, chart.high):  # limits that widen or follow the sample size are drawn point by point
        if float(limit.max() - limit.min()) > 0:
            steps = " ".join(f"{'M' if i == 0 else 'L'}{x(i):.1f} {y(float(v)):.1f}" for i, v in enumerate(limit))
            body.append(f'<path class="chart-run" stroke-dasharray="8 5" d="{steps}"/>')
    path = " ".join(f"{'M' if i == 0 else 'L'}{x(i):.1f} {y(float(v)):.1f}" for i, v in enumerate(chart.points))
    body.append(f'<path class="chart-run" d="{path}"/>')
    odd = {s.index for s in signals}
    for i, value in enumerate(chart.points):
        a, b = x(i), y(float(value))
        if i in odd:
            body.append(f'<path class="chart-odd" d="M{a:.1f} {b - 8:.1f}L{a + 8:.1f} {b + 6:.1f}H{a - 8:.1f}Z"/>')
            body.append(f'<text class="chart-number" x="{a:.1f}" y="{b - 11:.1f}" text-anchor="middle">{i + 1}</text>')
        else:
            body.append(f'<circle class="chart-point" cx="{a:.1f}" cy="{b:.1f}" r="4"/>')
    body.append(
        f'<text x="{_LEFT}" y="{_H - 8}">1</text><text x="{_W - _RIGHT}" y="{_H - 8}" text-anchor="end">{n}</text>'
    )
    said = escape(f"{title}: {n} values, mean {chart.centre:.3f}, {len(odd)} unusual")
    return f'<svg class="chart" viewBox="0 0 {_W:.0f} {_H:.0f}" role="img" aria-label="{said}">{"".join(body)}</svg>'
