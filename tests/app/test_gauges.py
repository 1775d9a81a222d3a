"""The register of gauges and their studies."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest

from cakewright.app import gauges as g
from cakewright.app.inspect_line import record_reading, verdict_of
from cakewright.errors import InputError
from cakewright.store import open_store
from tests.documents.world import START, week

NOW = START + timedelta(hours=50)  # 3 March 2027


@pytest.fixture
def store(new_database):
    with open_store(new_database) as store:
        store.save_plan(week(), made_by="Mira", at=START)
        yield store


@pytest.fixture
def plan():
    return replace(week(), version=1)


def enter(store, plan, name="C3", due="2027-06-01", share=None, hours=0):
    g.enter_gauge(store, plan, name=name, what="calliper", due=due, share_percent=share, by="Mira",
                  at=START + timedelta(hours=hours))  # fmt: skip


def value(store, plan, gauge):
    record_reading(store, plan, 1, piece="L01-01", name="width", value=10.0, low=9.9, high=10.1, gauge=gauge,
                   by="Mira", at=NOW)  # fmt: skip


def doubts(store, plan):
    return [f.code for f in g.gauge_doubts(store, verdict_of(store, plan, 1).readings)]


def study_text(grr=0.02):
    """Ten parts 1 mm apart, three people with a constant offset, trials that differ by the same steps."""
    rows = [[part + 0.01 * person + grr * (trial - 1) for person in range(3) for trial in range(3)]
            for part in range(10)]  # fmt: skip
    return "\n".join(" ".join(f"{v:.4f}" for v in row) for row in rows)


def test_the_last_entry_counts_and_the_first_due_leads(store, plan):
    """Calibrated again: the new day; overdue is blocking, due within two weeks a warning; taken out is gone."""
    enter(store, plan, "C3", "2027-01-01")
    enter(store, plan, "M1", "2027-03-10", hours=1)
    assert [f.code for f in g.due_findings(g.gauges(store), date(2027, 3, 3))] == [
        "quality.gauge-overdue", "floor.gauge-due"]  # fmt: skip
    enter(store, plan, "c3", "2027-12-01", hours=2)
    assert [(x.name, x.due.year, x.due.month) for x in g.gauges(store)] == [("M1", 2027, 3), ("c3", 2027, 12)]
    g.take_out(store, plan, "M1", by="Mira", at=NOW, why="dropped")
    assert [x.name for x in g.gauges(store)] == ["c3"]
    with pytest.raises(InputError, match="no gauge"):
        g.take_out(store, plan, "M1", by="Mira", at=NOW)


@pytest.mark.parametrize(("more", "said"), [({"name": " "}, "no name"), ({"due": "soon"}, "no day"),
                                            ({"share": -3.0}, "share")])  # fmt: skip
def test_what_cannot_be_entered(store, plan, more, said):
    """No name, no day, a share below nothing."""
    with pytest.raises(InputError, match=said):
        enter(store, plan, **more)


def test_values_taken_with_a_doubtful_gauge(store, plan):
    """Not named, not on the register, overdue on that day, too coarse; a good gauge says nothing."""
    value(store, plan, "")
    assert doubts(store, plan) == ["floor.gauge-not-named"]
    value(store, plan, "C3")
    assert doubts(store, plan)[1:] == ["floor.gauge-unknown"]
    enter(store, plan, "C3", "2027-03-02", share=40)
    assert doubts(store, plan)[1:] == ["quality.gauge-overdue", "quality.gauge-coarse"]
    enter(store, plan, "C3", "2027-09-01", share=5, hours=3)
    assert doubts(store, plan) == ["floor.gauge-not-named"]


def test_a_study_says_how_much_of_a_tolerance_the_gauge_eats(store, plan):
    """Trials a step apart have that step as their spread (three equally spaced values): EV = step within pooling."""
    enter(store, plan)
    result = g.keep_study(store, plan, "c3", study_text(), by="Mira", at=NOW)
    assert (result.parts, result.appraisers, result.trials) == (10, 3, 3)
    # within a cell the variance is 0.02^2; pooled with an interaction of zero over 18 + 60 degrees of freedom
    assert result.study.ev == pytest.approx(0.02 * (60 / 78) ** 0.5)
    (known,) = g.gauges(store)
    assert known.grr == pytest.approx(result.study.grr)
    assert known.share_of(9.9, 10.1) == pytest.approx(6 * known.grr / 0.2)
    assert known.share_of(9.9, None) is None
    value(store, plan, "C3")
    assert doubts(store, plan) == ["quality.gauge-coarse"]


@pytest.mark.parametrize(("text", "said"), [
    ("1 2 3 4 5 6 7 8 9", "1 lines"), ("1 2 3 4 5 6\n1 2 3", "3 values"), ("1 2 3 4\n1 2 3 4", "4 values in a line"),
    ("1 2 3 4 5 x\n1 2 3 4 5 6", "is no number"), ("1 1 1 1 1 1\n1 1 1 1 1 1", "all trials"),
    ("1 2 3 4 5 inf\n1 2 3 4 5 6", "cannot be measured"),
])  # fmt: skip
def test_a_study_that_cannot_be_read(text, said):
    """Each is named with what to do."""
    with pytest.raises(InputError, match=said):
        g.read_study(text)
