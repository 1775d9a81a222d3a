"""The powder slip: what to weigh for one build, how far off it may be, what comes back."""

from __future__ import annotations

from typing import Any

from cakewright.documents.report_builds import powder_words
from cakewright.documents.sheet import set_pdf
from cakewright.documents.timeline import hours_of
from cakewright.documents.words import build_id, charge, kg, listed, moment, percent
from cakewright.model.build import Build
from cakewright.model.plan import WeekPlan
from cakewright.powder.blend import Blend, Pick
from cakewright.safety import CLOSING, Work, cautions_of, to_wear
from cakewright.sources.powder import WEIGHING_DEVIATION

MIXING = (
    "Read the label of every can and drum. No label: do not use it, put it aside as waste.",
    "Weigh the sieved used powder into the mixer.",
    "Weigh the virgin powder on top. Never measure by volume: the two are not equally dense.",
    "Lid on, wait until the dust has settled, then mix as the powder's data sheet or your own record says.",
    "Label the blend at once: build, material, kg, date, name.",
)


def powder_slip_pdf(plan: WeekPlan, build_key: str, blend: Blend | None = None) -> bytes:
    """The powder slip of a build as a PDF file, A4, black and white; with `blend` it names the cans of the shelf."""
    build = plan.build(build_key)
    return set_pdf("powder_slip", _data(plan, build) | (_cans(blend) if blend else {}))


def allowed(mass_kg: float) -> tuple[float, float]:
    """Least and most kg that may be weighed for `mass_kg`."""
    slack = mass_kg * WEIGHING_DEVIATION.value
    return mass_kg - slack, mass_kg + slack


def _data(plan: WeekPlan, build: Build) -> dict[str, Any]:
    need = build.powder
    hours = hours_of(plan, build)
    whole, virgin, used = charge(need)
    return {
        "title": f"Powder slip · {plan.cell.name} · plan {plan.version}",
        "subtitle": f"{build.key} · {build.material}",
        "id": build_id(plan, build.key),
        "footer": f"{plan.cell.name} · plan {plan.version} · build {build.key} · powder",
        "closing": CLOSING,
        "for": f"For {build.machine} · {hours.chamber or 'chamber ____'}, needed {moment(hours.load, plan.cell.zone)}",
        "rows": [_row("1", "Used, sieved", used, need.used_kg), _row("2", "Virgin", virgin, need.virgin_kg)],
        "total": _row("", "Charge", whole, need.charge_kg),
        "ratio": f"Virgin share {percent(need.refresh_ratio)}: {need.refresh_reason}.",
        "words": list(powder_words(need)[1:]),
        "mixing": list(MIXING),
        "wear": list(to_wear(Work.BLEND)),
        "cautions": [
            {"short": c.short, "why": c.why, "source": c.source}
            for c in cautions_of(Work.BLEND)
            if c.short not in to_wear(Work.BLEND)
        ],
        "deviation": f"Allowed deviation ± {percent(WEIGHING_DEVIATION.value)} ({WEIGHING_DEVIATION.status.value}). "
        "Outside: correct it, or write the reason and ask.",
    }


def _cans(blend: Blend) -> dict[str, Any]:
    """Rows for the cans that were chosen, in the order of mixing, and what becomes of them."""
    virgin = {p.can for p in blend.picks if p.is_virgin}
    return {
        "rows": [_pick(p) for p in blend.picks],
        "total": _row("", "Charge", kg(blend.kg), blend.kg),
        "ratio": f"Class {blend.reason}. Lots: {listed(blend.lots)}.",
        "deviation": f"Allowed deviation of one weighing ± {percent(WEIGHING_DEVIATION.value)} of the charge "
        f"({WEIGHING_DEVIATION.status.value}). Outside: correct it, or write the reason and work the blend out again.",
        "mixing": [
            MIXING[0],
            f"Weigh the used powder into the mixer in this order, then {listed(sorted(virgin)) or 'no virgin powder'}.",
            f"Lid on, wait until the dust has settled, then mix {blend.mixing_min:.0f} min or as your own record says.",
            MIXING[-1],
        ],
    }


def _pick(pick: Pick) -> dict[str, str]:
    what = f"{pick.can} {'virgin' if pick.is_virgin else 'used'}{', all of it' if pick.is_whole else ''}"
    low, high = pick.kg - pick.tolerance_kg, pick.kg + pick.tolerance_kg
    return {"n": str(pick.order), "what": what, "kg": kg(pick.kg), "range": f"{low:.2f} to {high:.2f}"}


def _row(number: str, what: str, printed: str, mass_kg: float) -> dict[str, str]:
    low, high = allowed(mass_kg)
    return {"n": number, "what": what, "kg": printed, "range": f"{low:.2f} to {high:.2f}"}
