"""The calendar of a plan in the report: the drawing of the page, still, in a scale that fits a sheet."""

from __future__ import annotations

from importlib.resources import files

from cakewright.documents.gantt_layout import lay_out
from cakewright.documents.gantt_svg import draw
from cakewright.model.plan import WeekPlan

_HOUR_PX = 8.0  # six days and the names beside each other on a desk


def gantt_html(plan: WeekPlan) -> str:
    """The calendar as inline SVG that grows and shrinks with the page; coloured by `gantt_css`."""
    return draw(lay_out(plan, _HOUR_PX, marks={plan.start: "plan starts"}), fits=True)


def gantt_css() -> str:
    """The style sheet of the drawing, the same that the pages use."""
    return (files("cakewright.documents") / "drawn" / "gantt.css").read_text(encoding="utf-8")
