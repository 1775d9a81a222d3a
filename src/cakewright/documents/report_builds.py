"""One section for each build: pictures, curves, powder, verdicts."""

from __future__ import annotations

import base64
from dataclasses import dataclass

from cakewright.documents.heat_charts import opening_clock_svg
from cakewright.documents.heat_pictures import moment_near, moment_words, section_svg
from cakewright.documents.heat_words import (
    dose_words,
    early_words,
    energy_words,
    heat_doubts,
    may_leave_words,
    risk_words,
)
from cakewright.documents.render import css_colour, line_tints, nest_picture
from cakewright.documents.report_curves import area_svg, temperature_svg
from cakewright.documents.timeline import BuildHours, hours_of
from cakewright.documents.verdicts import Verdict, clearance_verdict, removal_verdict
from cakewright.documents.words import charge, count, duration, kg, listed, moment, percent, span, trays
from cakewright.findings import Finding
from cakewright.model.build import Build, PowderNeed
from cakewright.model.plan import WeekPlan
from cakewright.physics.drawing import drawing_of

_CORNER_PX, _TOP_PX = 820, 560


@dataclass(frozen=True, slots=True)
class TrayRow:
    """One line inside a build."""

    letter: str
    key: str
    name: str
    pieces: int
    reason: str
    colour: str


@dataclass(frozen=True, slots=True)
class BuildSection:
    """Everything the template shows of a build."""

    key: str
    headline: str
    reason: str
    facts: tuple[tuple[str, str], ...]
    corner: str
    top: str
    area: str
    temperature: str
    cuts: tuple[tuple[str, str], ...]
    clock: str
    heat_words: tuple[str, ...]
    heat_doubts: tuple[Finding, ...]
    opening_words: str
    powder_words: tuple[str, ...]
    virgin_share: float
    virgin: str
    used: str
    verdicts: tuple[Verdict, ...]
    trays: tuple[TrayRow, ...]
    left_out: tuple[str, ...]
    notes: tuple[str, ...]
    findings: tuple[Finding, ...]


def build_section(plan: WeekPlan, build: Build, lonely: bool) -> BuildSection:
    """Collect the section of one build; `lonely` says that its cake gets cool when nobody is in."""
    hours = hours_of(plan, build)
    need = build.powder
    _, virgin, used = charge(need)
    return BuildSection(
        key=build.key,
        headline=f"{build.machine} · {hours.chamber or 'no chamber'} · {build.material}",
        reason=build.reason,
        facts=_facts(plan, build, hours),
        corner=data_uri(nest_picture(plan, build, "corner", _CORNER_PX)),
        top=data_uri(nest_picture(plan, build, "top", _TOP_PX)),
        area=area_svg(build),
        temperature=temperature_svg(plan, build),
        cuts=_cuts(build),
        clock=opening_clock_svg(plan, build),
        heat_words=_heat(plan, build),
        heat_doubts=heat_doubts(plan, build),
        opening_words=_opening(plan, build, hours, lonely),
        powder_words=powder_words(need),
        virgin_share=100 * need.virgin_kg / need.charge_kg if need.charge_kg else 0.0,
        virgin=virgin,
        used=used,
        verdicts=(clearance_verdict(build.verification), removal_verdict(build.removal)),
        trays=_trays(plan, build),
        left_out=tuple(f"{x.piece}: {x.reason}" for x in build.nest.left_out),
        notes=build.nest.notes,
        findings=_findings(plan, build),
    )


def data_uri(png: bytes) -> str:
    """A PNG that travels inside the page."""
    return f"data:image/png;base64,{base64.b64encode(png).decode('ascii')}"


def _facts(plan: WeekPlan, build: Build, hours: BuildHours) -> tuple[tuple[str, str], ...]:
    zone = plan.cell.zone
    spread = duration(hours.spread.total_seconds())
    return (
        ("load", f"{moment(hours.load, zone)}{', ' + listed(hours.loader) if hours.loader else ''}"),
        ("print end", f"{moment(hours.print_end, zone)} ± {spread}"),
        ("break-out", f"{moment(hours.unpack, zone)}{', ' + listed(hours.unpacker) if hours.unpacker else ''}"),
        ("print time", duration(build.print_time.total_s)),
        ("height", f"{build.nest.height_mm:.0f} mm, {count(build.profile.layers, 'layer')}"),
        ("packing density", percent(build.nest.density, 1)),
        ("pieces", f"{build.pieces} of {count(len(build.lines), 'line')}"),
        ("in the build file", _drawn(plan, build)),
    )


def _drawn(plan: WeekPlan, build: Build) -> str:
    """How the pieces stand in the build file: as ordered, or scaled for the machine."""
    return drawing_of(plan.cell.machine(build.machine), plan.cell.chamber_type(build.chamber_type)).words


def _cuts(build: Build) -> tuple[tuple[str, str], ...]:
    """The cake cut at the print end and when it may first be opened, with words below."""
    if build.heat is None:
        return ()
    at = [moment_near(build.heat, seconds) for seconds in (0.0, build.cooling.opening_s[0])]
    return tuple((section_svg(build, i), moment_words(build.heat, i)) for i in dict.fromkeys(at))


def _heat(plan: WeekPlan, build: Build) -> tuple[str, ...]:
    said = [energy_words(plan, build), risk_words(plan, build)]
    if build.heat is None:
        return tuple(said)
    half = 0.5 * build.cooling.opening_s[1]
    return (may_leave_words(plan, build), early_words(build, half), dose_words(build.heat), *said)


def _opening(plan: WeekPlan, build: Build, hours: BuildHours, lonely: bool) -> str:
    c = build.cooling
    early, likely, late = (duration(s) for s in c.opening_s)
    said = f"Below {c.target_c:g} °C at the hottest point after {likely} (between {early} and {late})."
    if hours.opening is not None:
        zone = plan.cell.zone
        said += f" Cool {span(hours.opening[0], hours.opening[2], zone)}, likely {moment(hours.opening[1], zone)}."
    if lonely:
        said += " Nobody is in then: it waits in its chamber until break-out."
    return said


def powder_words(need: PowderNeed) -> tuple[str, ...]:
    """Charge, way of the powder, and what the refresh ratio does to the stock, in sentences."""
    way = f"{kg(need.in_parts_kg)} go into parts, {kg(need.loss_kg)} are lost, {kg(need.back_kg)} come back."
    level = percent(need.break_even_ratio)
    if need.surplus_kg > 0.005:
        stock = f"Used stock grows by {kg(need.surplus_kg)}; at {level} refresh it would stay level."
    elif need.surplus_kg < -0.005:
        stock = f"Used stock shrinks by {kg(-need.surplus_kg)}; at {level} refresh it would stay level."
    else:
        stock = "Used stock stays level."
    return (f"Refresh {percent(need.refresh_ratio)}: {need.refresh_reason}.", way, stock)


def _trays(plan: WeekPlan, build: Build) -> tuple[TrayRow, ...]:
    reasons, colours = dict(build.line_reasons), line_tints(plan)
    return tuple(
        TrayRow(
            letter,
            plan.line(n).key,
            plan.line(n).title,
            len(build.pieces_of(n)),
            reasons.get(n, ""),
            css_colour(colours[n]),
        )
        for n, letter in trays(build).items()
    )


def _findings(plan: WeekPlan, build: Build) -> tuple[Finding, ...]:
    seen: dict[tuple[str, str, str], Finding] = {}
    for key in dict.fromkeys(p.part_key for p in build.nest.placements):
        for finding in plan.parts[key].findings:
            seen.setdefault((finding.code, finding.where, finding.message), finding)
    return tuple(seen.values())
