"""How many to inspect and how many may be bad: lot plans, operating curves, zero acceptance.

Sources: ISO 2859-1:1999 / MIL-STD-105E (single sampling, normal and tightened); NIST/SEMATECH e-Handbook
6.2.3 for operating curves. Reduced inspection is not included: take it from the standard.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from functools import lru_cache

import numpy as np
from scipy.optimize import minimize_scalar
from scipy.stats import binom, hypergeom, nct, norm

from cakewright.errors import InputError
from cakewright.sources.quality import (
    AQL_COLUMNS,
    CODE_LETTERS,
    LEVELS,
    NORMAL_DIAGONAL,
    SAMPLE_SIZES,
    SWITCH_WINDOW,
    TIGHTENED_DIAGONAL,
)

_ROWS = tuple(SAMPLE_SIZES)


class Inspection(StrEnum):
    """How strictly lots are looked at."""

    NORMAL = "normal"
    TIGHTENED = "tightened"
    STOPPED = "stopped"


@dataclass(frozen=True, slots=True)
class Plan:
    """Take `sample` of the lot, accept with at most `accept` bad ones. `code` is the row it came from."""

    code: str
    sample: int
    accept: int
    is_whole_lot: bool = False

    @property
    def reject(self) -> int:
        """So many bad ones reject the lot."""
        return self.accept + 1


def code_letter(lot: int, level: str = "II") -> str:
    """Sample size code letter for a lot size and inspection level (S-1 .. S-4, I, II, III)."""
    if lot < 2 or level not in LEVELS:
        raise InputError(
            f"a lot of {lot} at level {level!r}", remedy=f"give 2 pieces or more and one of {', '.join(LEVELS)}"
        )
    letters = next(row for largest, row in CODE_LETTERS if largest is None or lot <= largest)
    return letters[LEVELS.index(level)]


def plan_for_code(code: str, aql: float, inspection: Inspection = Inspection.NORMAL) -> Plan:
    """Single plan for a code letter and AQL (per cent nonconforming), arrows followed to their own sample size."""
    if code not in SAMPLE_SIZES or aql not in AQL_COLUMNS:
        columns = ", ".join(f"{a:g}" for a in AQL_COLUMNS)
        raise InputError(f"code {code!r} at AQL {aql:g}", remedy=f"use a letter A to R and an AQL of {columns}")
    row, column = _ROWS.index(code), AQL_COLUMNS.index(aql)
    while True:
        cell = _cell(row, column, inspection)
        if isinstance(cell, int):
            return Plan(_ROWS[row], SAMPLE_SIZES[_ROWS[row]], cell)
        row += 1 if cell == "dn" else -1
        if not 0 <= row < len(_ROWS):
            raise InputError(
                f"no {inspection} plan for code {code} at AQL {aql:g} within the table",
                remedy="use a larger lot or another AQL, or the standard's own special cases",
            )


def plan_for_lot(lot: int, aql: float, level: str = "II", inspection: Inspection = Inspection.NORMAL) -> Plan:
    """Single plan for a lot; when the sample reaches the lot, every piece is inspected."""
    plan = plan_for_code(code_letter(lot, level), aql, inspection)
    return Plan(plan.code, lot, plan.accept, is_whole_lot=True) if plan.sample >= lot else plan


def _cell(row: int, column: int, inspection: Inspection) -> int | str:
    """The cell of the printed table: an acceptance number or an arrow."""
    if inspection is Inspection.STOPPED:
        raise InputError(
            "inspection is stopped", remedy="improve the process first, then start on tightened inspection"
        )
    tightened = inspection is Inspection.TIGHTENED
    diagonal = TIGHTENED_DIAGONAL if tightened else NORMAL_DIAGONAL
    d = row + column - (11 if tightened else 10)
    if d < 0 or (tightened and row == 0 and d == 0):
        return "dn"
    return diagonal[d] if d < len(diagonal) else "up"


def next_inspection(now: Inspection, accepted: Sequence[bool]) -> Inspection:
    """Switching by the lots judged since `now` began, oldest first (True: accepted).

    Normal to tightened when two of five in a row are rejected; back after five accepted in a row; stopped
    when five lots in all are not accepted on tightened inspection.
    """
    window = int(SWITCH_WINDOW.value)
    if now is Inspection.NORMAL:
        bad = any(sum(not a for a in accepted[max(0, i - window + 1) : i + 1]) >= 2 for i in range(len(accepted)))
        return Inspection.TIGHTENED if bad else now
    if now is Inspection.TIGHTENED:
        rejected = good = 0
        for a in accepted:
            good = good + 1 if a else 0
            rejected += not a
            if good >= window:
                return Inspection.NORMAL
            if rejected >= window:
                return Inspection.STOPPED
    return now


def accept_chance(sample: int, accept: int, bad_share: float) -> float:
    """Probability that a long run of pieces with this bad share passes (binomial)."""
    _check_plan(sample, accept)
    return float(binom.cdf(accept, sample, _share(bad_share)))


def outgoing_quality(lot: int, sample: int, accept: int, bad_share: float) -> float:
    """Mean bad share that leaves when rejected lots are sorted and bad pieces replaced: Pa p (N - n)/N."""
    _check_plan(sample, accept)
    return accept_chance(sample, accept, bad_share) * bad_share * (lot - sample) / lot


def worst_outgoing_quality(lot: int, sample: int, accept: int) -> tuple[float, float]:
    """(bad share coming in, worst mean bad share going out)."""
    grid = np.linspace(1e-4, 0.9999, 2000)
    best = grid[int(np.argmax([outgoing_quality(lot, sample, accept, float(p)) for p in grid]))]
    found = minimize_scalar(
        lambda p: -outgoing_quality(lot, sample, accept, p),
        bounds=(max(1e-6, best - 1e-3), min(1.0, best + 1e-3)),
        method="bounded",
        options={"xatol": 1e-9},
    )
    return float(found.x), -float(found.fun)


def smallest_plan(*, good: float, accept_good: float, bad: float, accept_bad: float, most: int = 5000) -> Plan:
    """Smallest sample with Pa(good) >= accept_good and Pa(bad) <= accept_bad (shares)."""
    if not 0.0 <= _share(good) < _share(bad) <= 1.0:
        raise InputError(f"good {good:g}, bad {bad:g}", remedy="give two bad shares, the good one smaller")
    n, c = 1, 0
    while n <= most:
        if accept_chance(n, c, bad) > accept_bad:
            n += 1
        elif accept_chance(n, c, good) >= accept_good:
            return Plan("", n, c)
        else:
            c += 1
            n = max(n, c + 1)
    raise InputError(f"no plan with up to {most} pieces", remedy="let good and bad lie further apart")


@lru_cache(maxsize=4096)  # a page asks it for every line of a day
def zero_acceptance_sample(lot: int, bad_share: float, risk: float = 0.10) -> int:
    """Smallest sample that finds none of ceil(p N) bad pieces with at most `risk` (hypergeometric).

    Accepting on zero alone also rejects good lots often: a producer's risk to be known before it is agreed.
    """
    if lot < 1 or not 0.0 < risk < 1.0:
        raise InputError(f"a lot of {lot} at risk {risk:g}", remedy="give one piece or more and a risk inside 0..1")
    bad = math.ceil(_share(bad_share) * lot - 1e-12)
    if bad < 1:
        raise InputError(
            f"a bad share of {bad_share:g} in {lot} pieces", remedy="give a share that is at least one piece"
        )
    return next(n for n in range(1, lot + 1) if float(hypergeom.pmf(0, lot, bad, n)) <= risk)


def variables_accept_chance(n: int, k: float, bad_share: float) -> float:
    """Probability to accept by measured values, one limit, sigma unknown: (limit - mean)/s >= k.

    P(T'(n - 1, z_p sqrt n) > k sqrt n) with the noncentral t law.
    """
    if n < 2:
        raise InputError(f"{n} measured pieces", remedy="measure at least two")
    z = float(norm.ppf(1.0 - _share(bad_share)))
    return float(nct.sf(k * math.sqrt(n), n - 1, z * math.sqrt(n)))


def stratified(positions_mm: Sequence[tuple[str, float]], sample: int) -> tuple[str, ...]:
    """Pieces to inspect, spread evenly over the height: (piece, z) -> every n-th from bottom to top.

    Lowest and highest are always among them when two or more are taken: a fault often has a place.
    """
    if not 1 <= sample <= len(positions_mm):
        raise InputError(
            f"{sample} of {len(positions_mm)} pieces", remedy="take at least one and no more than there are"
        )
    order = [piece for piece, _ in sorted(positions_mm, key=lambda row: (row[1], row[0]))]
    picks = np.linspace(0, len(order) - 1, sample).round().astype(int) if sample > 1 else [len(order) // 2]
    return tuple(order[int(i)] for i in picks)


def _share(p: float) -> float:
    if not 0.0 <= p <= 1.0:
        raise InputError(f"a bad share of {p:g}", remedy="give a share: 0.01 means 1 %")
    return p


def _check_plan(sample: int, accept: int) -> None:
    if sample < 1 or not 0 <= accept <= sample:
        raise InputError(f"a plan of {sample} with acceptance {accept}", remedy="take at least one piece")
