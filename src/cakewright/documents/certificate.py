"""The certificate of an order as a draft: each item that a buyer may ask for, what the plan knows, what is open.

The items follow ISO/ASTM 52901 and ASTM F3091/F3091M as far as their public summaries name them; the
bought texts decide. A plan knows intentions, not results: the draft is not valid until people fill it in and sign.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from cakewright.documents.sections import (
    Block,
    customer_of,
    facts,
    heading,
    letter,
    lines_of_order,
    signatures,
    table,
    words,
)
from cakewright.documents.sheet import set_pdf
from cakewright.documents.words import count, day, listed, percent, task_of, title
from cakewright.model.build import Build
from cakewright.model.order import OrderLine
from cakewright.model.plan import TaskKind, WeekPlan

BASIS = (
    "Items after ISO/ASTM 52901 (requirements for purchased AM parts) and ASTM F3091/F3091M (powder bed fusion of "
    "plastics), as far as their public summaries name them. Check against the standards you agreed on."
)


_MOST_LOTS = 4
Lots = Mapping[str, Mapping[str, float]]


def certificate_pdf(plan: WeekPlan, order: str, lots: Lots | None = None) -> bytes:
    """The draft certificate of one order as a PDF file, A4; InputError when the order is not in the plan.

    `lots` gives for each printed build the shares of its powder by lot, most first.
    """
    lines = lines_of_order(plan, order)
    return set_pdf("letter", _data(plan, order, lines, lots or {}))


def _data(plan: WeekPlan, order: str, lines: tuple[OrderLine, ...], lots: Lots) -> dict[str, Any]:
    numbers = {line.line for line in lines}
    builds = tuple(b for b in plan.builds if numbers & set(b.lines))
    blocks: list[Block] = [
        facts(("For", customer_of(lines)), ("Delivery note", "____________")),
        heading("Parts"),
        _parts(plan, lines),
        heading("Builds"),
        _builds(plan, builds, lots),
        heading("Evidence"),
        _evidence(plan, lines, builds),
        words(BASIS),
        words("We declare that the parts listed agree with the order, except for the deviations named.", strong=True),
        signatures("Name · role", "Signature · date"),
    ]
    stop = ["DRAFT from a plan: not valid until the results are filled in and a person has signed."]
    return letter(plan, "Certificate", order, f"order-{order}", blocks, stop=stop)


def _parts(plan: WeekPlan, lines: tuple[OrderLine, ...]) -> Block:
    columns = (("Line", "auto"), ("Part, revision", "2fr"), ("File, start of its hash", "2fr"), ("Qty", "auto"))
    return table((*columns, ("Delivered", "1fr"), ("Serial numbers", "1.2fr")), [_part(plan, line) for line in lines])


def _part(plan: WeekPlan, line: OrderLine) -> list[Any]:
    key = plan.part_of_line.get(line.line)
    origin = plan.parts[key].origin if key is not None and key in plan.parts else None
    known = f"{origin.file}\n{origin.sha256[:16]}" if origin else "no file"
    return [line.key, title(line), known, str(line.quantity), None, None]


def _powder(shares: Mapping[str, float]) -> str | None:
    """The lots of a build's powder with their shares, the strongest four; None leaves the box to write in."""
    if not shares:
        return None
    named = [f"{lot} {percent(share)}" for lot, share in list(shares.items())[:_MOST_LOTS]]
    rest = sum(list(shares.values())[_MOST_LOTS:])
    return "\n".join([*named, *([f"others {percent(rest)}"] if rest > 0 else [])])


def _builds(plan: WeekPlan, builds: tuple[Build, ...], lots: Lots) -> Block:
    rows = []
    for b in builds:
        run = task_of(plan, b.key, TaskKind.PRINT)
        when = day(run.start, plan.cell.zone) if run else "–"
        how = f"{b.machine} · {b.profile.layer_mm:g} mm layers · {when}"
        rows.append([b.key, how, b.material, percent(b.powder.refresh_ratio), _powder(lots.get(b.key, {})), None])
    columns = (("Build", "auto"), ("Machine, layer, day planned", "2fr"), ("Material", "auto"), ("Virgin", "auto"))
    return table((*columns, ("Blend, virgin lots", "1.4fr"), ("Opened at °C", "0.9fr")), rows)


def _evidence(plan: WeekPlan, lines: tuple[OrderLine, ...], builds: tuple[Build, ...]) -> Block:
    finishes = listed(list(dict.fromkeys(line.finish for line in lines)))
    classes = listed(list(dict.fromkeys(line.quality_class for line in lines)))
    machines = listed(list(dict.fromkeys(b.machine for b in builds))) or "none"
    placed = sum(len(b.pieces_of(line.line)) for b in builds for line in lines)
    rows: list[list[Any]] = [
        ["Process classification", f"PBF-LB/P on {machines}; class {classes}", None],
        ["Feedstock: powder definition, re-use", "material and virgin share as above", None],
        ["Build orientation and place", f"recorded for {count(placed, 'piece')}", None],
        ["Post-processing", finishes, None],
        ["Tolerances and surface texture agreed", "", None],
        ["Test specimens: place, standard, results", "", None],
        ["Inspection and acceptance: report number", "", None],
        ["Acceptable imperfections, repairs made", "", None],
        ["Retest and rejection", "", None],
        ["Marking of parts and packages", "", None],
        ["Deviations and concessions", "", None],
    ]
    return table((("Item", "1.7fr"), ("Known from the plan", "1.4fr"), ("Result or reference", "1.4fr")), rows)
