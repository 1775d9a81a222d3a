"""The certificate says what was done, or why it is not valid yet."""

from datetime import timedelta

from cakewright.app import contain, hold_lines, run_build
from cakewright.app.certificate import certificate_facts, certificate_of
from cakewright.app.inspect_line import record_reading
from cakewright.app.pack_line import pack
from cakewright.store import PieceState
from cakewright.store.physics import KeptReading
from tests.app.floor_worlds import NOW, make_ready
from tests.app.test_hold_lines import enter_bars, found_all, limit
from tests.documents.paper import pages, text_of

ORDER = "bracket-1"


def run(store, plan):
    build = plan.build("B1")
    make_ready(store, plan, build)
    run_build.start(store, plan, build, by="Jon", at=NOW)
    run_build.end(store, plan, build, by="Jon", at=NOW + timedelta(hours=9))


def test_while_a_line_is_held_the_certificate_says_so(store, plan):
    """The reason stands on top, and nothing is claimed to be complete."""
    text = text_of(certificate_of(store, plan, ORDER))
    assert "NOT VALID YET: L01 is held: B1: no limit is entered for specimens of PA12" in text
    assert "Complete as recorded" not in text


def test_what_was_done_is_on_it(store, plan):
    """Printed, tested, measured, packed: each with its figures; then it waits for a signature only."""
    run(store, plan)
    limit(store, plan)
    enter_bars(store, plan, [12.0, 11.0, 9.5])
    found_all(store, plan, 1)
    record_reading(store, plan, 1, piece="L01-01", name="width", value=60.05, low=59.8, high=60.2, gauge="", by="Jon",
                   at=NOW)  # fmt: skip
    pack(store, plan, 1, pieces=4, carton="1", by="Jon", at=NOW)
    known = certificate_facts(store, plan, ORDER)
    assert known.open == ()
    assert known.delivered == {1: 4}
    assert known.orientation == {1: "4 +Z up"}
    pdf = certificate_of(store, plan, ORDER)
    text = text_of(pdf)
    for said in ("Complete as recorded; valid with the signature below.", "printed Mon 1 Mar", "L01-01, L01-02",
                 "Elongation at break 3 9.5 % 8 % ISO 527 3 high; lying along Z", "60.05 to 60.05 59.8 to 60.2 within",
                 "L01-01 B1 5 mm", "B1: released by Jon, 10 checks done", "None recorded.", "zero acceptance",
                 "Source inspection by the buyer", "Process control", "Retest and rejection"):  # fmt: skip
        assert said in text, said
    assert "DRAFT" not in text
    assert pages(pdf) <= 2


def test_concessions_and_decisions_are_named(store, plan):
    """A release in spite of a hold and a rejected piece are deviations that the customer reads."""
    contain.report_mistake(store, plan, "L01-02", what="crack", cause="cold bed", by="Jon", at=NOW)
    number = contain.mistakes(store, plan)[0].record.number
    contain.decide(store, plan, number, "reject and remake", by="Ada", at=NOW)
    hold_lines.release_line(store, plan, 1, reason="tested on pieces", by="Ada", at=NOW)
    found_all(store, plan, 1)
    known = certificate_facts(store, plan, ORDER)
    assert known.serials == {1: ("L01-01", "L01-03", "L01-04")}
    assert known.open == ("L01: 0 of 4 pieces packed.",)
    text = text_of(certificate_of(store, plan, ORDER))
    assert "L01 released by Ada: tested on pieces (was held: B1: no limit" in text
    assert "L01-02: crack; reject and remake (Ada)." in text


def test_the_opening_says_whether_it_was_measured(store, plan):
    """Not opened: nothing; opened without a probe: named as computed; with one: the core as measured, and when."""
    run(store, plan)
    assert certificate_facts(store, plan, ORDER).opened["B1"] == ""
    assert "not yet" in text_of(certificate_of(store, plan, ORDER))
    found_all(store, plan, 1)
    words = certificate_facts(store, plan, ORDER).opened["B1"]
    assert "computed, not measured: below 50 °C after" in words
    assert "after the print end" in words


def test_a_probe_reading_stands_on_the_certificate(store, plan):
    """Read two hours after the print end, before the first piece was taken out."""
    run(store, plan)
    place = plan.build("B1").cooling.hottest_mm
    store.physics.add_readings([KeptReading(1, "B1", place, 7200.0, 61.0)], by="Jon", at=NOW + timedelta(hours=11))
    piece = plan.build("B1").pieces_of(1)[0].piece
    store.record_piece(plan=1, build="B1", piece=piece, state=PieceState.FOUND, by="Jon", at=NOW + timedelta(hours=12))
    assert "core 61 °C measured 2.0 h after the print end" in certificate_facts(store, plan, ORDER).opened["B1"]
    early = run_build.open_early(store, plan, plan.build("B1"), by="Jon", at=NOW + timedelta(hours=12), reason="hurry")
    assert f"EARLY by {early.by}: hurry" in certificate_facts(store, plan, ORDER).opened["B1"]
