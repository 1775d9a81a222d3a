"""The report: one HTML file that needs nothing else, readable on a desk, a tablet, a phone and on paper."""

from __future__ import annotations

from functools import cache
from importlib.resources import files

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from cakewright.documents.gantt_rows import lonely_openings, waiting_lines
from cakewright.documents.report_builds import build_section
from cakewright.documents.report_gantt import gantt_css, gantt_html
from cakewright.documents.report_lines import line_rows, summary
from cakewright.documents.what_changed import Changed
from cakewright.documents.words import day, moment
from cakewright.findings import Severity
from cakewright.model.plan import WeekPlan
from cakewright.safety import CLOSING

_SEVERITIES = (Severity.BLOCKING, Severity.WARNING, Severity.NOTE)


@cache
def _environment() -> Environment:
    return Environment(
        loader=PackageLoader("cakewright.documents"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )


def report_html(plan: WeekPlan, change: Changed | None = None) -> str:
    """The whole plan as one self-contained page: no script, no link out, pictures inside; what changed comes first."""
    rows = line_rows(plan)
    lonely = lonely_openings(plan)
    style = (files("cakewright.documents") / "templates" / "report.css").read_text(encoding="utf-8") + gantt_css()
    builds = [build_section(plan, b, b.key in lonely) for b in plan.builds]
    shown = {(f.code, f.message) for b in builds for f in b.findings}
    rest = [f for f in plan.findings if f.severity is Severity.BLOCKING or (f.code, f.message) not in shown]
    return (
        _environment()
        .get_template("report.html")
        .render(
            plan=plan,
            change=change,
            cell=plan.cell,
            week=day(plan.start, plan.cell.zone),
            start=moment(plan.start, plan.cell.zone),
            style=Markup(style),
            summary=summary(plan, rows),
            rows=rows,
            gantt=Markup(gantt_html(plan)),
            waits=_waits(plan),
            lonely={key: moment(when, plan.cell.zone) for key, when in lonely.items()},
            builds=builds,
            findings=sorted(rest, key=lambda f: (_SEVERITIES.index(f.severity), f.where, f.code)),
            elsewhere=bool(shown),
            closing=CLOSING,
        )
    )


def _waits(plan: WeekPlan) -> list[tuple[str, list[tuple[str, str, bool]]]]:
    """What lines wait for, and for each of them its key, when it is ready, and whether that is late."""
    zone = plan.cell.zone
    return [
        (group.reason, [(f"L{p.line:02d}", moment(p.ready, zone), p.is_late) for p in group.promises])
        for group in waiting_lines(plan)
    ]
