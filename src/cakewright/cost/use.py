"""How full should a build be when builds can fail: the cheapest use of the chamber may lie below full.

A build filled to a share u of its height costs F + v u: F whatever is in it, v for a full one. A failure
strikes anywhere with the same chance per height, so that P(no failure) = exp(-L u), with L the hazard
over the full height. Finding behind it: Baumers & Holweg, On the economics of additive manufacturing:
Experimental findings (2019): with failures in the model the cost optimum lies below full capacity.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

from scipy.optimize import minimize_scalar

from cakewright.errors import InputError


class Salvage(StrEnum):
    """What a failure leaves."""

    NOTHING = "nothing"  # parts reach through the whole height, or the cause spoils all
    BELOW = "parts below"  # what was complete under the stop layer is kept


@dataclass(frozen=True, slots=True)
class UseLaw:
    """Cost of builds by how full they are. `hazard` is the expected number of failures over a full height.

    `fixed` is spent by each build (warm-up, hands, changeover), `full` is the rest of a full build (hours,
    powder), `per_failure` comes on top of a failed one (clean-up, lateness), all in currency units.
    """

    fixed: float
    full: float
    hazard: float
    per_failure: float = 0.0
    salvage: Salvage = Salvage.NOTHING

    def __post_init__(self) -> None:
        """Refuse negative money and hazards."""
        for name in ("fixed", "full", "hazard", "per_failure"):
            if not 0 <= getattr(self, name) < math.inf:
                raise InputError(f"{name} is {getattr(self, name)}", remedy="give zero or more")
        if self.fixed + self.full <= 0:
            raise InputError("a build that costs nothing", remedy="give its fixed or full cost")

    def unit_cost(self, use: float) -> float:
        """Expected cost of a full chamber's worth of good parts when builds are filled to `use` (0..1].

        The charge of powder and the hours are taken as spent when a build fails (cautious).
        """
        if not 0.0 < use <= 1.0:
            raise InputError(f"a use of {use:g}", remedy="give a share above 0 and at most 1")
        fails = -math.expm1(-self.hazard * use)
        spent = self.fixed + self.full * use + self.per_failure * fails
        return spent / self._good(use, fails)

    def _good(self, use: float, fails: float) -> float:
        if self.salvage is Salvage.NOTHING:
            return use * (1.0 - fails)
        return fails / self.hazard if self.hazard > 0 else use  # mean height done before the first failure

    def best_use(self) -> float:
        """The use with the least unit cost; 1.0 when a full chamber is best."""
        found = minimize_scalar(self.unit_cost, bounds=(1e-6, 1.0), method="bounded", options={"xatol": 1e-9})
        return 1.0 if self.unit_cost(1.0) <= float(found.fun) * (1 + 1e-12) else float(found.x)


def hazard_of(failure_probability: float) -> float:
    """Hazard over a full height when a full build fails with this probability: -ln(1 - p)."""
    if not 0.0 <= failure_probability < 1.0:
        raise InputError(f"failure probability {failure_probability:g}", remedy="give a share from 0 to below 1")
    return -math.log1p(-failure_probability)
