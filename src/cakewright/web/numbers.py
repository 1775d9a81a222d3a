"""Pages of the numbers: a plan closed against what happened, and what more of something would bring."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Form, Query, Request
from fastapi.responses import HTMLResponse, Response
from markupsafe import Markup, escape
from pydantic import BaseModel, Field

from cakewright.app.capacity import Outcome, UsePlot, prices_of, set_ups, warn_of_ratio
from cakewright.app.capacity_prices import WeekPrices
from cakewright.app.inspect_line import Watched, watched
from cakewright.app.number_tables import CAUSES, numbers_csv, numbers_xlsx, tables_of
from cakewright.app.numbers import WeekNumbers, week_numbers
from cakewright.app.questions import Capacity, MoreCapacity
from cakewright.store import Job
from cakewright.web.asking import ask, go_to, seen
from cakewright.web.inbox import Desk
from cakewright.web.look import page
from cakewright.web.shelf import Shelf, shelf_of
from cakewright.web.speech import current
from cakewright.web.trouble import RESPONSES, NotThereError
from cakewright.web.typed import number

pages = APIRouter(include_in_schema=False)
interface = APIRouter(prefix="/api/v1", responses=RESPONSES, tags=["running week"])
Plans = Annotated[Shelf, Depends(shelf_of)]
Typed = Annotated[str, Form(max_length=20)]
TICKS = (0.25, 0.5, 0.75, 1.0)
PAST = "/plans/{version}"
Money = Annotated[float, Field(ge=0, le=1e7, allow_inf_nan=False)]
XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"


class AskedCapacity(BaseModel):
    """Cost of one more for a week in the cell's currency; what is left out costs what the cell's own rates say."""

    machine: Money | None = None
    chamber: Money | None = None
    shift: Money | None = None


@pages.get(PAST + "/numbers")
def numbers(shelf: Plans, request: Request, version: int) -> HTMLResponse:
    """Planned against actual: cost by line and build, variances, machine hours, dates kept, waste."""
    n = _numbers(shelf, version)
    return page(request, "numbers.html", **common(shelf, version), n=n, causes=CAUSES,
                tables=[(name, name.replace(" ", "-")) for name in tables_of(n)],
                names={line.line: line.part for line in n.plan.orders.lines}, money={p.line: p for p in n.priced},
                capable=shelf.once("capable", shelf.store.marks().floor, lambda: capable(shelf)),
                hours=draw_hours(n.hours.rows, n.hours.planned.calendar_h))  # fmt: skip


@pages.get(PAST + "/numbers.xlsx")
def workbook(shelf: Plans, version: int) -> Response:
    """Every table of the numbers as one workbook."""
    return download(numbers_xlsx(_numbers(shelf, version)), XLSX, f"plan-{version:03d}-numbers.xlsx")


@pages.get(PAST + "/numbers/{name}.csv")
def table(shelf: Plans, version: int, name: str) -> Response:
    """One table of the numbers."""
    n = _numbers(shelf, version)
    known = {one.replace(" ", "-"): one for one in tables_of(n)}
    if name not in known:
        raise NotThereError(f"there is no table {name[:40]!r}", remedy=f"there are: {', '.join(known)}")
    text = numbers_csv(n, known[name])
    return download(text.encode("utf-8-sig"), "text/csv; charset=utf-8", f"plan-{version:03d}-{name}.csv")


def _numbers(shelf: Shelf, version: int) -> WeekNumbers:
    """The numbers now; today's prices are those of the newest plan's cell."""
    newest = shelf.store.newest()
    rates = shelf.plan(newest).cell if newest is not None else None
    return week_numbers(shelf.store, shelf.plan(version), shelf.clock(), rates)


def capable(shelf: Shelf) -> tuple[tuple[Watched, ...], int]:
    """Characteristics with a capability, the least capable first, and how many have too few values or no limits."""
    seen = watched(shelf.store)
    known = [(w.capability.cpk, w) for w in seen if w.capability is not None]
    return tuple(w for _, w in sorted(known, key=lambda one: (one[0], one[1].key))), len(seen) - len(known)


def common(shelf: Shelf, version: int) -> dict[str, Any]:
    """What every page of a plan shows."""
    plan = shelf.plan(version)
    return {"plan": plan, "summaries": shelf.store.plans(), "zone": plan.cell.zone, "base": f"/plans/{version}",
            "currency": plan.cell.rates.currency}  # fmt: skip


def download(content: bytes, kind: str, name: str) -> Response:
    """A file to keep."""
    return Response(content, media_type=kind, headers={"content-disposition": f'attachment; filename="{name}"'})


def draw_hours(rows: tuple[tuple[str, float, float], ...], calendar_h: float) -> Markup:
    """For each reason two bars, planned above recorded, with their hours written beside them."""
    side, wide, step = 190.0, 520.0, 48.0
    scale = wide / max(calendar_h, 1e-9)
    parts = []
    for i, (reason, planned, recorded) in enumerate(rows):
        y = 8 + i * step
        parts.append(f'<text x="0" y="{y + 22:.0f}">{escape(reason)}</text>')
        bars = (
            ("plan", planned, y, f"{planned:.1f} h planned"),
            ("real", recorded, y + 20, f"{recorded:.1f} h recorded"),
        )
        for kind, hours, top, word in bars:
            width = hours * scale
            parts.append(f'<rect class="hours-{kind}" x="{side:.0f}" y="{top:.0f}" width="{width:.1f}" height="16"/>')
            parts.append(f'<text x="{side + width + 6:.1f}" y="{top + 13:.0f}">{word}</text>')
    said = "; ".join(f"{p:.1f} h planned, {r:.1f} h recorded: {reason}" for reason, p, r in rows)
    return svg(side + wide + 150, 12 + step * len(rows), f"Machine hours by reason. {said}", parts)


def svg(width: float, height: float, said: str, parts: list[str]) -> Markup:
    """A drawing that a screen reader can say."""
    # the parts are numbers of ours and text that was escaped where it was put in
    return Markup(
        f'<svg class="powder-plot numbers-plot" width="{width:.0f}" height="{height:.0f}" '
        f'viewBox="0 0 {width:.0f} {height:.0f}" role="img" aria-label="{escape(said)}">{"".join(parts)}</svg>'
    )


@pages.get(PAST + "/capacity")
def capacity(
    shelf: Plans, request: Request, version: int, answer: Annotated[str, Query(max_length=40)] = ""
) -> HTMLResponse:  # fmt: skip
    """The question, and when the answer is there: what each set-up brings, and how full a build should be."""
    plan = shelf.plan(version)
    found = seen(shelf, plan, answer)
    got = found.answer if isinstance(found.answer, Capacity) else None
    prices = found.question.prices if isinstance(found.question, MoreCapacity) else prices_of(plan)
    return page(request, "numbers_capacity.html", **common(shelf, version), got=got, short=warn_of_ratio(plan),
                prices=prices, seen=found, bars=draw_outcomes(got.outcomes) if got else "",
                curve=draw_uses(got.uses) if got else "")  # fmt: skip


@pages.post(PAST + "/capacity")
def ask_for_capacity(
    request: Request, shelf: Plans, desk: Desk, version: int, machine: Typed = "", chamber: Typed = "",
    shift: Typed = "",
) -> Response:  # fmt: skip
    """Work it out, as a job: what a week of each costs, as typed; by the cell's own rates when left out."""
    usual = prices_of(shelf.plan(version))
    prices = WeekPrices(
        _price(machine, "the week of a machine", usual.machine),
        _price(chamber, "the week of a chamber", usual.chamber),
        _price(shift, "the week of the shift", usual.shift),
    )
    return go_to(_ask(request, shelf, desk, version, prices))


@interface.post(PAST + "/capacity", status_code=202)
def ask_for_scripts(request: Request, shelf: Plans, desk: Desk, version: int, prices: AskedCapacity) -> Job:
    """What more of something would bring, as a job; its answer is at `/jobs/{job}/answer`. Nothing is kept."""
    usual = prices_of(shelf.plan(version))
    given = prices.model_dump()
    asked = WeekPrices(**{k: getattr(usual, k) if v is None else v for k, v in given.items()})
    return _ask(request, shelf, desk, version, asked)


def _ask(request: Request, shelf: Shelf, desk: Desk, version: int, prices: WeekPrices) -> Job:
    plan = shelf.plan(version)
    set_ups(plan, prices)  # a price that is none is said at once
    return ask(request, desk, plan, "/capacity", MoreCapacity(prices))


def _price(typed: str, what: str, usual: float | None) -> float | None:
    return number(typed, what) if typed.strip() else usual


def draw_outcomes(outcomes: Sequence[Outcome]) -> Markup:
    """A bar of kg a week for each set-up, with its figure."""
    side, wide = max(330.0, *(7.6 * len(current().label(o.name)) for o in outcomes)), 380.0
    most = max(o.kg_per_week for o in outcomes)
    parts = []
    for i, o in enumerate(outcomes):
        y, width = 8 + 30 * i, wide * o.kg_per_week / max(most, 1e-9)
        parts.append(f'<text x="0" y="{y + 15}">{escape(o.name)}</text>')
        parts.append(f'<rect class="hours-real" x="{side:.0f}" y="{y}" width="{width:.1f}" height="20"/>')
        parts.append(f'<text x="{side + width + 6:.1f}" y="{y + 15}">{o.kg_per_week:.2f} kg</text>')
    said = "; ".join(f"{o.kg_per_week:.2f} kg: {o.name}" for o in outcomes)
    return svg(side + wide + 90, 16 + 30 * len(outcomes), f"Parts a week. {said}", parts)


def draw_uses(uses: Sequence[UsePlot]) -> Markup:
    """Cost against use, a line for each failure probability with its name, a ring at the cheapest."""
    left, top, wide, high = 70.0, 20.0, 460.0, 220.0
    low = min(u.best_cost for u in uses) * 0.95
    upper = 1.6 * max(u.full_cost for u in uses)

    def at(use: float, cost: float) -> tuple[float, float]:
        return left + wide * use, top + high * (upper - cost) / (upper - low)

    parts = [f'<path class="use-line" d="M{left:.0f} {top:.0f}V{top + high:.0f}H{left + wide:.0f}"/>']
    parts += [f'<text x="{left + wide * u - 14:.0f}" y="{top + high + 20:.0f}">{u:.0%}</text>' for u in TICKS]
    parts += [f'<text x="0" y="{at(0, c)[1] + 5:.0f}">{c:,.0f}</text>' for c in (low, (low + upper) / 2, upper)]
    for i, u in enumerate(uses):
        points = " ".join(f"{x:.1f},{y:.1f}" for x, y in (at(*p) for p in u.points if p[1] <= upper))
        x, y = at(u.best, u.best_cost)
        parts.append(
            f'<polyline class="use-line" points="{points}"/><circle class="use-best" cx="{x:.1f}" cy="{y:.1f}" r="5"/>'
        )
        beside = at(1, u.full_cost)[1] - 4 + 8 * (1 - i)
        parts.append(f'<text x="{left + wide + 12:.0f}" y="{beside:.0f}">{escape(u.name)}</text>')
    parts.append(
        f'<text x="{left + wide / 2 - 90:.0f}" y="{top + high + 42:.0f}">share of the height that is used</text>'
    )
    parts.append(f'<text x="{left + 8:.0f}" y="{top:.0f}">cost of a full chamber of good parts</text>')
    said = "; ".join(f"{u.name}: cheapest at {u.best:.0%}" for u in uses)
    names = max(9 * len(current().label(u.name)) for u in uses) + 20
    return svg(left + wide + names, top + high + 50, f"Cost of good parts by use of the chamber. {said}", parts)
