"""The report on one file as paper: the same content as the page, on A4."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from cakewright.documents.part_report import Limit, PartSheet, Point, Report, sentence
from cakewright.documents.sections import Block, facts, heading, table, words
from cakewright.documents.sheet import picture_svg, set_pdf
from cakewright.findings import Finding
from cakewright.safety import CLOSING


def part_report_pdf(sheet: PartSheet) -> bytes:
    """The report on A4."""
    report = Report(sheet)
    blocks: list[Block] = []
    blocks.append(facts(*report.facts))
    overview = report.overview
    if overview is not None:
        picture: dict[str, Any] = {"svg": picture_svg(overview), "mm": 88}
        blocks.append(table((("The part with every point", "auto"), ("", "1fr")), [[picture, _key_of(report)]]))
    if report.points:
        rows = [[f"{p.number} {p.mark}", _cell(p), _said(p)] for p in report.points]
        blocks += [
            heading("Points"),
            words("■ must be solved   ▲ please decide   ● good to know"),
            table((("", "auto"), ("Where", "auto"), ("What", "1fr")), rows),
        ]
    blocks += sheet.faces.blocks(report.views) if report.views is not None and sheet.faces.listed else ()
    blocks += _turn_blocks(report)
    if report.questions:
        blocks += [heading("Questions"), words(*(f"{n}. {q}" for n, q in enumerate(report.questions, start=1)))]
    blocks += [*_limit_blocks(sheet.limits), words(*sheet.twins, *report.small_print)]
    data = {
        "title": f"Part check · {sheet.made}" if sheet.made else "Part check",
        "subtitle": sheet.file,
        "id": f"cakewright:file/{sheet.sha256[:16]}",
        "footer": f"part check · {sheet.file}",
        "lead": report.verdict,
        "stop": [f"The file cannot be used: {sheet.refused}. To do: {sheet.remedy}."] if sheet.refused else [],
        "closing": CLOSING,
        "blocks": blocks,
    }
    return set_pdf("letter", data)


def _cell(point: Point) -> dict[str, Any] | str:
    return "" if point.picture is None else {"svg": picture_svg(point.picture), "mm": 84}


def _said(point: Point) -> str:
    text = sentence(point.finding.message)
    hidden = " (inside, hidden from every side)" if point.is_hidden else ""
    where = "" if point.finding.at_mm is None else f"\nAt {_coordinates(point.finding)} mm{hidden}."
    measure = f"\nFound: {point.finding.measure}." if point.finding.measure else ""
    todo = f"\nTo do: {point.finding.remedy}." if point.finding.remedy else ""
    return f"{text}{measure}{where}{todo}"


def _coordinates(finding: Finding) -> str:
    assert finding.at_mm is not None
    return ", ".join(f"{axis} {v:.1f}" for axis, v in zip("XYZ", finding.at_mm, strict=True))


def _key_of(report: Report) -> str:
    rows = [f"{p.number} {p.mark} {p.finding.message.split(':')[0].split(';')[0]}" for p in report.points[:20]]
    return "\n".join(rows) or "No doubts."


def _turn_blocks(report: Report) -> Sequence[Block]:
    if not report.sheet.turns or report.views is None:
        return ()
    rows = [
        [f"{n}", {"svg": picture_svg(report.views.turned(t.rotation)), "mm": 34}, t.reason]
        for n, t in enumerate(report.sheet.turns, start=1)
    ]
    return heading("Which way up"), table((("", "auto"), ("Stands like this", "auto"), ("Why", "1fr")), rows)


def _limit_blocks(limits: Sequence[Limit]) -> Sequence[Block]:
    if not limits:
        return ()
    rows = [[sentence(limit.meaning), f"{limit.value:g} {limit.unit}", limit.status] for limit in limits]
    columns = (("Judged by", "1fr"), ("Limit", "auto"), ("How far it can be trusted", "auto"))
    return heading("Limits"), table(columns, rows)
