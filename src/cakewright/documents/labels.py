"""Tray labels: ten to an A4 sheet, the letter readable across the bench, the QR code for the scanner."""

from __future__ import annotations

from cakewright.documents.sheet import qr_svg, set_pdf
from cakewright.documents.words import build_id, looks, title, trays
from cakewright.model.build import Build
from cakewright.model.plan import WeekPlan


def line_id(plan: WeekPlan, build_key: str, line: int) -> str:
    """The plain text in the QR code of a tray: plan, build, line."""
    return f"{build_id(plan, build_key)}/line-{line}"


def labels_pdf(plan: WeekPlan, build_key: str) -> bytes:
    """Labels for the trays of one build as a PDF file, A4, 2 by 5 on a sheet, to be cut."""
    build = plan.build(build_key)
    return set_pdf(
        "labels",
        {
            "title": f"Tray labels {build.key}",
            "subtitle": build.key,
            "id": build_id(plan, build.key),
            "footer": f"{plan.cell.name} · plan {plan.version} · build {build.key} · tray labels, cut along the lines",
            "labels": [_label(plan, build, line, letter) for line, letter in trays(build).items()],
        },
    )


def _label(plan: WeekPlan, build: Build, number: int, letter: str) -> dict[str, str]:
    line = plan.line(number)
    here = len(build.pieces_of(number))
    share = f"{here} pieces" if here == line.quantity else f"{here} of {line.quantity} pieces"
    return {
        "letter": letter,
        "line": line.key,
        "part": title(line, 56),
        "count": share,
        "order": " · ".join(x for x in (line.order, line.customer) if x),
        "looks": looks(plan, line),
        "finish": f"{line.material} · {line.finish}",
        "build": f"{build.key} · plan {plan.version}",
        "qr": qr_svg(line_id(plan, build.key, number)),
    }
