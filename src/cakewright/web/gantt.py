"""The calendar of a plan on a page: the drawing of the report, with every bar a link and what hands may move marked."""

from __future__ import annotations

from datetime import datetime

from markupsafe import Markup, escape

from cakewright.app.task_chain import task_names
from cakewright.documents.gantt_layout import lay_out
from cakewright.documents.gantt_shapes import Bar
from cakewright.documents.gantt_svg import draw, still
from cakewright.documents.words import clock
from cakewright.model.plan import WeekPlan
from cakewright.web.speech import current

HOUR_PX = 12.0  # an hour wide enough for a finger to move by
STATION_KINDS = ("unpack", "blast", "dye", "smooth", "inspect", "pack")  # those named in the cell file's own words
FIXED = ("cool", "wait")  # what goes by itself is not dragged


def draw_gantt(plan: WeekPlan, at: datetime, told: WeekPlan | None = None) -> Markup:
    """The calendar in the language of who reads, with a mark at `at`.

    Where `told` (the plan people were told) has a build's work elsewhere, its place is outlined. A bar of one task
    carries the name of it, so that a hand can move it.
    """
    say = current().label
    builds = {build.key for build in plan.builds}
    known = {task: name for name, task in task_names(plan).items()}

    def wrap(bar: Bar, drawn: str) -> str:
        name = "" if bar.look in FIXED else known.get(bar.task, "")
        moves = f' data-task="{escape(name)}" data-start="{bar.task.start.isoformat()}"' if name else ""
        if bar.task.build in builds:
            return f'<a href="{escape(f"/plans/{plan.version}/builds/{bar.task.build}")}"{moves}>{drawn}</a>'
        if moves:
            return f'<g role="button" tabindex="0" aria-label="{escape(bar.said)}"{moves}>{drawn}</g>'
        return still(bar, drawn)

    marks = {at: clock(at, plan.cell.zone)}
    return Markup(draw(lay_out(plan, HOUR_PX, say=say, marks=marks, told=told), wrap=wrap, say=say))
