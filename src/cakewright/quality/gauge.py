"""How much of what we see is the gauge: repeatability and reproducibility of a crossed study, uncertainty.

Sources: AIAG, Measurement Systems Analysis, 4th ed., 2010; JCGM 100 (GUM) for combined uncertainty.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import NDArray
from scipy.stats import f as f_law

from cakewright.errors import InputError
from cakewright.findings import Finding, Severity
from cakewright.sources.quality import GAUGE_CATEGORIES, GAUGE_GOOD, GAUGE_K1, GAUGE_K2, GAUGE_K3, GAUGE_POOR

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class GaugeStudy:
    """Standard deviations: ev equipment, av appraiser (with interaction), pv part; from them grr and tv."""

    ev: float
    av: float
    pv: float

    @property
    def grr(self) -> float:
        """Gauge as a whole."""
        return math.hypot(self.ev, self.av)

    @property
    def tv(self) -> float:
        """Everything."""
        return math.hypot(self.grr, self.pv)

    @property
    def share_of_spread(self) -> float:
        """Gauge over total, in standard deviations."""
        return self.grr / self.tv

    @property
    def categories(self) -> float:
        """How many groups of parts the gauge can tell apart, before truncation."""
        return GAUGE_CATEGORIES.value * self.pv / self.grr

    def share_of_tolerance(self, tolerance: float) -> float:
        """Six sigmas of the gauge over the width of the tolerance."""
        if not tolerance > 0:
            raise InputError(f"a tolerance of {tolerance:g}", remedy="give the full width, above zero")
        return 6.0 * self.grr / tolerance


@dataclass(frozen=True, slots=True)
class GaugeTable:
    """Sums of squares of a crossed study and the test of the interaction."""

    part: float
    appraiser: float
    interaction: float
    error: float
    f_interaction: float
    p_interaction: float


def gauge_anova(y: FloatArray, *, pool_above: float = 0.25) -> tuple[GaugeStudy, GaugeTable]:
    """Crossed study by analysis of variance; y is (parts, appraisers, trials).

    The interaction is pooled into the error when its p value is above `pool_above`.
    """
    y = _study(y)
    p, a, t = y.shape
    mean = y.mean()
    ss_part = a * t * float(((y.mean(axis=(1, 2)) - mean) ** 2).sum())
    ss_app = p * t * float(((y.mean(axis=(0, 2)) - mean) ** 2).sum())
    cells = y.mean(axis=2)
    ss_cells = t * float(((cells - mean) ** 2).sum())
    ss_int = ss_cells - ss_part - ss_app
    ss_err = float(((y - cells[:, :, None]) ** 2).sum())
    df_int, df_err = (p - 1) * (a - 1), p * a * (t - 1)
    f_int = (ss_int / df_int) / (ss_err / df_err)
    p_int = float(f_law.sf(f_int, df_int, df_err))
    pooled = p_int > pool_above
    ms_err = (ss_err + ss_int) / (df_err + df_int) if pooled else ss_err / df_err
    ms_int = ms_err if pooled else ss_int / df_int
    var_app = max(0.0, (ss_app / (a - 1) - ms_int) / (p * t))
    var_int = 0.0 if pooled else max(0.0, (ms_int - ms_err) / t)
    var_part = max(0.0, (ss_part / (p - 1) - ms_int) / (a * t))
    study = GaugeStudy(math.sqrt(ms_err), math.sqrt(var_app + var_int), math.sqrt(var_part))
    return study, GaugeTable(ss_part, ss_app, ss_int, ss_err, f_int, p_int)


def gauge_average_range(y: FloatArray) -> GaugeStudy:
    """The quick method for 10 parts, 3 appraisers, 3 trials, with the printed factors."""
    y = _study(y)
    p, a, t = y.shape
    if (p, a, t) != (10, 3, 3):
        raise InputError(f"a study of {p} x {a} x {t}", remedy="use 10 x 3 x 3 here, or the analysis of variance")
    mean_range = float(np.ptp(y, axis=2).mean())
    ev = mean_range * GAUGE_K1.value
    difference = float(np.ptp(y.mean(axis=(0, 2))))
    av = math.sqrt(max(0.0, (difference * GAUGE_K2.value) ** 2 - ev**2 / (p * t)))
    pv = float(np.ptp(y.mean(axis=(1, 2)))) * GAUGE_K3.value
    return GaugeStudy(ev, av, pv)


def combined_uncertainty(contributions: Sequence[tuple[float, float]]) -> tuple[float, float]:
    """(standard uncertainty, degrees of freedom) of (contribution, its freedom) by Welch and Satterthwaite.

    Truncate the freedom to a whole number before looking up t.
    """
    if not contributions or any(u < 0 or not v > 0 for u, v in contributions):
        raise InputError(
            f"contributions {list(contributions)}", remedy="give each a size of zero or more and its freedom"
        )
    total = math.fsum(u * u for u, _ in contributions)
    if total == 0:
        raise InputError("all contributions are zero", remedy="a measurement always has some uncertainty")
    return math.sqrt(total), total**2 / math.fsum(u**4 / v for u, v in contributions)


def check_gauge(name: str, *, due: date, today: date, share_of_tolerance: float | None = None) -> tuple[Finding, ...]:
    """Is the gauge within its date, and fine enough for this tolerance?"""
    found = []
    if today > due:
        found.append(Finding("quality.gauge-overdue", Severity.BLOCKING,
                             f"calibration was due {due:%Y-%m-%d}, today is {today:%Y-%m-%d}", where=f"gauge {name}",
                             remedy="use another gauge or calibrate it; values since then are in doubt"))  # fmt: skip
    if share_of_tolerance is not None and share_of_tolerance > GAUGE_GOOD.value:
        poor = share_of_tolerance > GAUGE_POOR.value
        found.append(Finding("quality.gauge-coarse", Severity.BLOCKING if poor else Severity.WARNING,
                             f"the gauge takes up {share_of_tolerance:.0%} of the tolerance", where=f"gauge {name}",
                             remedy="use a finer gauge, a fixture, or the mean of several readings"))  # fmt: skip
    return tuple(found)


def _study(y: FloatArray) -> FloatArray:
    y = np.asarray(y, dtype=np.float64)
    if y.ndim != 3 or min(y.shape) < 2 or not np.isfinite(y).all():
        raise InputError(
            f"a gauge study of shape {y.shape}",
            remedy="give (parts, appraisers, trials), each two or more, without gaps",
        )
    return y
