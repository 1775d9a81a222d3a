"""Early signs that the powder loop is off: oversize ratio, sieve cloth life, the month's unexplained grams."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median

from cakewright.findings import Finding, Severity
from cakewright.powder.checks import need_positive, need_zero_or_more
from cakewright.sources.powder import OVERSIZE_ALARM, UNEXPLAINED_LIMIT

_SIGMA_PER_MAD = 1.4826  # for a normal spread: 1 / 0.6745


@dataclass(frozen=True, slots=True)
class SieveRun:
    """One run: kilograms in, through and left on the cloth."""

    run: str
    in_kg: float
    through_kg: float
    oversize_kg: float
    cloth: str

    @property
    def ratio(self) -> float:
        """Oversize share."""
        return self.oversize_kg / need_positive(f"{self.run}: powder in", self.in_kg, "kg")


def check_sieve_run(run: SieveRun, history: Sequence[SieveRun]) -> tuple[Finding, ...]:
    """Does the run balance, and is its oversize ratio what this loop usually shows?

    Compared by ratio's logarithm with median and median deviation of at least five earlier runs: one
    bad run among them does not hide the next.
    """
    findings = []
    need_zero_or_more("oversize", run.oversize_kg, "kg")
    gap = run.in_kg - run.through_kg - run.oversize_kg
    if abs(gap) > UNEXPLAINED_LIMIT.value * run.in_kg:
        findings.append(
            Finding("powder.sieve-gap", Severity.WARNING,
                    f"{run.in_kg:.2f} kg in, {run.through_kg:.2f} through, {run.oversize_kg:.2f} oversize: "
                    f"{gap:+.2f} kg not explained", where=f"sieve run {run.run}",
                    remedy="weigh the three again; look at the floor, the bag filter and the cloth"))  # fmt: skip
    usual = [math.log(max(r.ratio, 1e-6)) for r in history]
    if len(usual) >= 5:
        middle = median(usual)
        spread = max(_SIGMA_PER_MAD * median(abs(u - middle) for u in usual), 0.05)
        off = (math.log(max(run.ratio, 1e-6)) - middle) / spread
        if abs(off) > OVERSIZE_ALARM.value:
            findings.append(_oversize(run, math.exp(middle), off))
    return tuple(findings)


def _oversize(run: SieveRun, usual: float, off: float) -> Finding:
    cause = (
        "hotter bed, overdue cloth or crust ground through"
        if off > 0
        else "a torn cloth lets lumps through: hold this powder and look at the cloth"
    )
    return Finding(
        "powder.oversize-high" if off > 0 else "powder.oversize-low",
        Severity.WARNING,
        f"oversize {run.ratio:.2%}, usually {usual:.2%} ({off:+.1f} sigma)",
        where=f"sieve run {run.run}",
        remedy=cause,
    )


def check_cloth(cloth: str, runs: Sequence[SieveRun], life_kg: float) -> Finding | None:
    """A finding when the cloth has sieved its life in kilograms."""
    done = math.fsum(r.in_kg for r in runs if r.cloth == cloth)
    if done <= need_positive("the life of a cloth", life_kg, "kg"):
        return None
    return Finding("powder.cloth-worn", Severity.WARNING, f"{done:.0f} kg sieved, planned life {life_kg:.0f} kg",
                   where=f"cloth {cloth}", remedy="change the cloth and look at the old one for tears")  # fmt: skip


@dataclass(frozen=True, slots=True)
class MonthAccount:
    """The powder of a month in kg: opening stock + delivered = shipped + scrap + waste + closing + unexplained."""

    opening_kg: float
    delivered_kg: float
    shipped_kg: float
    scrap_kg: float
    waste_kg: float
    closing_kg: float

    @property
    def unexplained_kg(self) -> float:
        """What is missing (negative: more is there than the books say)."""
        out = self.shipped_kg + self.scrap_kg + self.waste_kg + self.closing_kg
        return self.opening_kg + self.delivered_kg - out

    @property
    def waste_per_shipped(self) -> float:
        """Kilograms of waste and scrap for each kilogram shipped."""
        return (self.waste_kg + self.scrap_kg) / need_positive("shipped powder", self.shipped_kg, "kg")


def check_month(account: MonthAccount) -> Finding | None:
    """A finding when more than the limit of what went through is not explained."""
    through = account.opening_kg + account.delivered_kg - account.closing_kg
    limit = UNEXPLAINED_LIMIT.value * max(through, 0.0)
    if abs(account.unexplained_kg) <= limit:
        return None
    return Finding(
        "powder.unexplained",
        Severity.WARNING,
        f"{account.unexplained_kg:+.2f} kg not explained of {through:.1f} kg that went through (limit {limit:.2f})",
        where="month",
        remedy="look for a lost label, a wrong scale, or a can that was not weighed; then book it with its name",
    )
