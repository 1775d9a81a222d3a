"""The certificate of an order: each item that a buyer may ask for, what is known, what is still open.

The items follow ISO/ASTM 52901 and ASTM F3091/F3091M as far as their public summaries name them; the
bought texts decide. From a plan alone it is a draft. With the facts of the floor it says what was done; as long as
something is held, missing or not packed it stays a draft and says why. A person signs; the tool never does.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
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
DRAFT = "DRAFT from a plan: not valid until the results are filled in and a person has signed."
_MOST_LOTS = 4
_MOST_PIECES = 8
Lots = Mapping[str, Mapping[str, float]]


@dataclass(frozen=True, slots=True)
class SpecimenRow:
    """One property of the specimens of a build: how many values, least of them, limit, where they stood."""

    build: str
    quantity: str
    values: int
    least: float
    limit: float | None
    unit: str
    standard: str
    places: str


@dataclass(frozen=True, slots=True)
class MeasuredRow:
    """One characteristic of a line: pieces with their height in the cake, smallest and largest value, limits."""

    line: int
    name: str
    pieces: tuple[str, ...]
    least: float
    most: float
    limits: str
    gauges: str
    is_good: bool


@dataclass(frozen=True, slots=True)
class Facts:
    """What the floor knows about the lines of an order, by line or by build.

    `open` are the reasons for which it is still a draft. `printed`, `opened` and `checks` are words by build;
    `orientation` and `finished` by line; `deviations` whole sentences.
    """

    lots: Lots = field(default_factory=dict)
    open: tuple[str, ...] = ()
    delivered: Mapping[int, int] = field(default_factory=dict)
    serials: Mapping[int, tuple[str, ...]] = field(default_factory=dict)
    printed: Mapping[str, str] = field(default_factory=dict)
    opened: Mapping[str, str] = field(default_factory=dict)
    checks: Mapping[str, str] = field(default_factory=dict)
    orientation: Mapping[int, str] = field(default_factory=dict)
    finished: Mapping[int, str] = field(default_factory=dict)
    specimens: tuple[SpecimenRow, ...] = ()
    measured: tuple[MeasuredRow, ...] = ()
    sampling: Mapping[int, str] = field(default_factory=dict)
    deviations: tuple[str, ...] = ()


def certificate_pdf(plan: WeekPlan, order: str, known: Facts | None = None) -> bytes:
    """The certificate of one order as a PDF file, A4; InputError when the order is not in the plan.

    Without `known` it is a draft from the plan; with it, it holds what happened and says what is open.
    """
    lines = lines_of_order(plan, order)
    return set_pdf("letter", _data(plan, order, lines, known))


def _data(plan: WeekPlan, order: str, lines: tuple[OrderLine, ...], known: Facts | None) -> dict[str, Any]:
    numbers = {line.line for line in lines}
    builds = tuple(b for b in plan.builds if numbers & set(b.lines))
    seen = known or Facts()
    blocks: list[Block] = [
        facts(
            ("For", customer_of(lines)),
            ("Delivery note", "____________"),
            ("Purchase order", order or "____"),
            ("Delivered to", "____________"),
        ),
        heading("Parts"),
        _parts(plan, lines, seen),
        heading("Builds and powder"),
        _builds(plan, builds, seen),
        *_specimens(seen),
        *_measured(plan, seen),
        heading("What was agreed and done"),
        _evidence(plan, lines, builds, seen),
        *_deviations(known),
        words(BASIS),
        words("We declare that the parts listed agree with the order, except for the deviations named.", strong=True),
        signatures("Name · role", "Signature · date"),
    ]
    stop = [DRAFT] if known is None else [f"NOT VALID YET: {reason}" for reason in known.open]
    lead = None if known is None or known.open else "Complete as recorded; valid with the signature below."
    return letter(plan, "Certificate", order, f"order-{order}", blocks, stop=stop, lead=lead)


def _parts(plan: WeekPlan, lines: tuple[OrderLine, ...], seen: Facts) -> Block:
    columns = (("Line", "auto"), ("Part, revision", "2fr"), ("File, start of its hash", "2fr"), ("Qty", "auto"))
    rows = [_part(plan, line, seen) for line in lines]
    return table((*columns, ("Delivered", "auto"), ("Pieces", "1.6fr")), rows)


def _part(plan: WeekPlan, line: OrderLine, seen: Facts) -> list[Any]:
    key = plan.part_of_line.get(line.line)
    origin = plan.parts[key].origin if key is not None and key in plan.parts else None
    file = f"{origin.file}\n{origin.sha256[:16]}" if origin else "no file"
    here = seen.delivered.get(line.line)
    serials = _some(seen.serials.get(line.line, ()))
    return [line.key, title(line), file, str(line.quantity), None if here is None else str(here), serials or None]


def _some(pieces: tuple[str, ...]) -> str:
    shown = ", ".join(pieces[:_MOST_PIECES])
    return f"{shown} and {len(pieces) - _MOST_PIECES} more" if len(pieces) > _MOST_PIECES else shown


def _powder(shares: Mapping[str, float]) -> str | None:
    """The lots of a build's powder with their shares, the strongest four; None leaves the box to write in."""
    if not shares:
        return None
    named = [f"{lot} {percent(share)}" for lot, share in list(shares.items())[:_MOST_LOTS]]
    rest = sum(list(shares.values())[_MOST_LOTS:])
    return "\n".join([*named, *([f"others {percent(rest)}"] if rest > 0 else [])])


def _builds(plan: WeekPlan, builds: tuple[Build, ...], seen: Facts) -> Block:
    rows = []
    for b in builds:
        run = task_of(plan, b.key, TaskKind.PRINT)
        when = seen.printed.get(b.key) or (f"planned {day(run.start, plan.cell.zone)}" if run else "–")
        how = f"{b.machine} · {b.profile.layer_mm:g} mm layers · {when}"
        rows.append([b.key, how, b.material, percent(b.powder.refresh_ratio), _powder(seen.lots.get(b.key, {})),
                     seen.opened.get(b.key) or "not yet"])  # fmt: skip
    columns = (("Build", "auto"), ("Machine, layer, day", "2fr"), ("Material", "auto"), ("Virgin", "auto"))
    return table((*columns, ("Blend, virgin lots", "1.4fr"), ("Opened", "1.1fr")), rows)


def _specimens(seen: Facts) -> list[Block]:
    if not seen.specimens:
        return []
    rows = [[s.build, s.quantity, f"{s.values}", f"{s.least:g} {s.unit}",
             "–" if s.limit is None else f"{s.limit:g} {s.unit}", s.standard or "–", s.places]
            for s in seen.specimens]  # fmt: skip
    columns = (("Build", "auto"), ("Property", "1.3fr"), ("Bars", "auto"), ("Lowest", "auto"), ("Limit", "auto"),
               ("Standard", "1fr"), ("Where they stood", "1.6fr"))  # fmt: skip
    return [heading("Test specimens"), table(columns, rows)]


def _measured(plan: WeekPlan, seen: Facts) -> list[Block]:
    if not seen.measured:
        return []
    rows = [[plan.line(m.line).key, m.name, f"{m.least:g} to {m.most:g}", m.limits,
             "within" if m.is_good else "OUTSIDE", m.gauges or "–", _some(m.pieces)]
            for m in seen.measured]  # fmt: skip
    columns = (("Line", "auto"), ("Characteristic", "1.3fr"), ("Found", "auto"), ("Limits", "auto"), ("", "auto"),
               ("Gauge", "0.8fr"), ("Pieces, height in the cake", "1.8fr"))  # fmt: skip
    return [heading("Measurements"), table(columns, rows)]


def _evidence(plan: WeekPlan, lines: tuple[OrderLine, ...], builds: tuple[Build, ...], seen: Facts) -> Block:
    finishes = listed(list(dict.fromkeys(line.finish for line in lines)))
    classes = listed(list(dict.fromkeys(line.quality_class for line in lines)))
    machines = listed(list(dict.fromkeys(b.machine for b in builds))) or "none"
    placed = sum(len(b.pieces_of(line.line)) for b in builds for line in lines)
    turned = _joined(plan, lines, seen.orientation)
    sampled, finished = _joined(plan, lines, seen.sampling), _joined(plan, lines, seen.finished)
    checked = "; ".join(f"{key}: {said}" for key, said in seen.checks.items()
                        if key in {b.key for b in builds})  # fmt: skip
    tested = f"{count(len(seen.specimens), 'property', 'properties')}, table above" if seen.specimens else None
    rows: list[list[Any]] = [
        ["Process classification", f"PBF-LB/P on {machines}; class {classes}", None],
        ["Feedstock: powder definition, re-use", "material and virgin share as above", None],
        ["Drawing reference and version", "file and hash as above", None],
        ["Build orientation and place", f"recorded for {count(placed, 'piece')}", turned or None],
        ["Process control: release, checks before the print", "", checked or None],
        ["Post-processing", finishes, finished or None],
        ["Tolerances and surface texture agreed", "", None],
        ["Test specimens: place, standard, results", "", tested],
        ["Inspection and acceptance: report number", sampled, None],
        ["Source inspection by the buyer", "", None],
        ["Acceptable imperfections, repairs made", "", None],
        ["Retest and rejection", "", None],
        ["Marking of parts and packages, packing", "", None],
    ]
    return table((("Item", "1.5fr"), ("Known", "1.3fr"), ("Result or reference", "1.7fr")), rows)


def _joined(plan: WeekPlan, lines: tuple[OrderLine, ...], said: Mapping[int, str]) -> str:
    return "; ".join(f"{plan.line(n.line).key}: {said[n.line]}" for n in lines if said.get(n.line))


def _deviations(known: Facts | None) -> list[Block]:
    title_ = heading("Deviations and concessions")
    if known is None:
        return [title_, table((("", "1fr"),), [[None], [None]])]
    return [title_, words(*(known.deviations or ("None recorded.",)))]
