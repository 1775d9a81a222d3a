"""Whether 90 % means 90 %: counted without flattery."""

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from scipy.stats import binomtest

from cakewright.app.kept_promises import kept_promises
from cakewright.store.schedule import Kept

NOON = datetime(2027, 3, 8, 12, tzinfo=UTC)
HOUR = timedelta(hours=1)


def promise(line, ready_h, p50_h=0.0, p90_h=10.0, due_h=24.0, chance=0.95):
    """A promise around Monday noon, packed so many hours after it (None: not yet)."""
    ready = None if ready_h is None else NOON + ready_h * HOUR
    return Kept(1, NOON - 99 * HOUR, "A", line, "knob", NOON + due_h * HOUR, NOON + p50_h * HOUR, NOON + p90_h * HOUR,
                chance, ready)  # fmt: skip


def test_counts_and_the_exact_interval():
    """Eight of ten within P90; the interval is that of scipy's exact binomial test."""
    rows = [promise(i, 5.0) for i in range(8)] + [promise(i, 20.0) for i in (8, 9)]
    rate = kept_promises(rows, NOON + 99 * HOUR).rates[1]
    exact = binomtest(8, 10).proportion_ci(0.95, "exact")
    assert (rate.kept, rate.known) == (8, 10)
    assert (rate.low, rate.high) == pytest.approx((exact.low, exact.high))
    assert rate.verdict.startswith("nothing speaks against it")


def test_a_line_that_is_still_missing_counts_as_missed():
    """Its P90 has passed and nobody packed it: it is known to be late although no instant is known."""
    rows = [promise(1, 5.0), promise(2, None)]
    late = kept_promises(rows, NOON + 11 * HOUR)
    assert (late.rates[1].kept, late.rates[1].known, late.open) == (1, 2, 1)
    early = kept_promises(rows, NOON + 9 * HOUR)
    assert (early.rates[1].kept, early.rates[1].known) == (1, 1)


def test_hopeful_and_careful_promises_are_called_so():
    """Fifty of a hundred kept is too hopeful for 90 %, a hundred of a hundred too careful."""
    hopeful = [promise(i, 5.0 if i % 2 else 20.0) for i in range(100)]
    careful = [promise(i, 5.0) for i in range(100)]
    assert "too hopeful" in kept_promises(hopeful, NOON + 99 * HOUR).rates[1].verdict
    assert "too careful" in kept_promises(careful, NOON + 99 * HOUR).rates[1].verdict


def test_a_true_promise_is_seldom_accused():
    """Records of 60 lines that are kept with exactly 90 %: the 95 % interval misses it in at most about 5 % of them."""
    rng = np.random.default_rng(1)
    accused = 0
    for _ in range(300):
        rows = [promise(i, 5.0 if kept else 20.0) for i, kept in enumerate(rng.random(60) < 0.9)]
        accused += "nothing speaks" not in kept_promises(rows, NOON + 99 * HOUR).rates[1].verdict
    assert accused / 300 < 0.05 + 4 * (0.05 * 0.95 / 300) ** 0.5


def test_without_a_record_nothing_is_claimed():
    """An empty table says so instead of dividing by nothing."""
    assert {r.verdict for r in kept_promises([], NOON).rates} == {"no promise of this kind has come due yet"}
