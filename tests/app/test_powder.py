"""Powder through the doors that people use: a delivery becomes a blend, a charge, parts and cans, to the gram."""

import shutil
from dataclasses import replace
from datetime import date, timedelta
from types import SimpleNamespace

import numpy as np
import pytest
from sqlalchemy import text
from sqlalchemy.exc import IntegrityError

from cakewright.app.powder_blend import Weighing, judge_can, propose_blend, weigh_blend
from cakewright.app.powder_books import code_of, look
from cakewright.app.powder_build import Fraction, book_back, charge_build, dose_of
from cakewright.app.powder_deeds import (
    correct,
    discard,
    file_lot,
    find_label,
    lose_label,
    make_can,
    measure_flow,
    move,
    open_drum,
    opening_stock,
    receive_lot,
    sieve,
    weigh_in,
)
from cakewright.app.powder_recall import recall_lot
from cakewright.app.powder_rules import BlendMode
from cakewright.errors import InputError
from cakewright.model.heat import PowderDose
from cakewright.powder.ledger import ContainerKind
from cakewright.store import open_store
from tests.documents.world import START, week
from tests.store.conftest import behind

MIRA = {"by": "Mira"}


def at(minutes):
    """So many minutes after the plan starts."""
    return START + timedelta(minutes=minutes)


def stock_up(store):
    """The invented week saved as plan 1; two lots in four drums, two used cans of which one has a stated age."""
    store.save_plan(week(), made_by="Mira", at=START)
    for lot, drums in (("V-7712", [10, 10]), ("V-7740", [10, 10])):
        receive_lot(store, material="PA12", supplier_lot=lot, drums_kg=drums, certificate=f"{lot}.pdf", at=at(0),
                    expires=date(2028, 1, 31), melt_flow=50, **MIRA)  # fmt: skip
    for kg, seen in ((14, 2), (8, None)):
        opening_stock(store, make_can(store, material="PA12", at=at(0), **MIRA), kg, builds_seen=seen, at=at(0),
                      **MIRA)  # fmt: skip


@pytest.fixture(scope="module")
def stocked(tmp_path_factory):
    """The stocked cell in a file."""
    path = tmp_path_factory.mktemp("powder") / "cell.sqlite"
    with open_store(path) as store:
        stock_up(store)
        store.backup(path.with_name("copy.sqlite"))
    return path.with_name("copy.sqlite")


@pytest.fixture(scope="module")
def stocked_server(server):
    """The stocked cell on a server."""
    address = server.new_database()
    with open_store(address) as store:
        stock_up(store)
    return address


@pytest.fixture(params=["file", "server"])
def store(request, tmp_path):
    """A copy of the stocked cell of its own, in a file and on a server."""
    if request.param == "file":
        place = shutil.copy(request.getfixturevalue("stocked"), tmp_path / "cell.sqlite")
    else:
        stocked_server = request.getfixturevalue("stocked_server")
        place = request.getfixturevalue("server").new_database(template=stocked_server)
    with open_store(place) as store:
        yield store


@pytest.fixture
def file_store(stocked, tmp_path):
    """A copy of the stocked cell in a file only, for tests of what lies over the store."""
    with open_store(shutil.copy(stocked, tmp_path / "cell.sqlite")) as store:
        yield store


@pytest.fixture
def plan(store):
    """Plan 1 as the database gives it."""
    return store.load_plan(1)


def mix(store, plan, build="B1", minutes=10):
    """Blend the proposal of a build, weighed to the figure."""
    slip = propose_blend(store, plan, build, today=START.date())
    weighed = [Weighing(p.can, p.kg, p.kg) for p in slip.blend.picks]
    return weigh_blend(store, plan, build, weighed, at=at(minutes), **MIRA)


def printed(store, plan):
    """B1 blended, charged, printed and booked back with 100 g named as hoses."""
    blend = mix(store, plan)
    charge_build(store, plan, "B1", blend.blend, at=at(20), **MIRA)
    need = plan.build("B1").powder
    came = {
        Fraction.CAKE: [round(blend.kg - need.in_parts_kg - 1.3, 3)],
        Fraction.OVERFLOW: [1.0],
        Fraction.DUST: [0.2],
    }
    return book_back(store, plan, "B1", came, rest_reason="hoses", at=at(900), **MIRA)


def test_the_books_close_to_the_gram_after_a_build(store, plan):
    """All containers together hold exactly nothing beyond what came in; the database keeps the same figures."""
    back = printed(store, plan)
    grams = look(store).ledger.grams()
    assert sum(grams.values()) == 0
    assert store.powder.levels() == grams
    assert grams["charge 1/B1"] == 0
    assert grams[back.parts] == round(plan.build("B1").powder.in_parts_kg * 1000)
    assert back.rest_kg == 0
    assert [name for name, _, _ in back.cans] == ["loose cake", "overflow", "floor and blast dust"]


def test_the_parts_know_their_lots_and_the_cake_has_aged(store, plan):
    """Virgin share as the class asks, both in the parts and in what came back one build older."""
    back = printed(store, plan)
    build = plan.build("B1")
    shares = store.powder.shares(1, "B1")
    assert sum(shares.values()) == pytest.approx(1)
    virgin = sum(share for lot, share in shares.items() if lot.startswith("V-"))
    assert virgin == pytest.approx(build.powder.refresh_ratio, abs=0.01)
    cake = look(store).can(back.cans[0][1])
    assert cake.ages[1] == pytest.approx(virgin, abs=1e-6)
    assert cake.ages[0] == 0
    overflow = look(store).can(back.cans[1][1])
    assert overflow.ages[0] == pytest.approx(virgin, abs=1e-6)


def test_recall_from_lot_to_customers_and_back(store, plan):
    """Every line of the printed build is found with all its pieces; each piece leads back to the same lots."""
    printed(store, plan)
    shares = store.powder.shares(1, "B1")
    lot = next(origin for origin in shares if origin.startswith("V-"))
    lines = store.powder.recall.lines(lot, 0.01)
    expected = {n: len(plan.build("B1").pieces_of(n)) for n in plan.build("B1").lines}
    assert {line.line: line.pieces for line in lines} == {n: c for n, c in expected.items() if c}
    assert {line.customer for line in lines} == {plan.line(n).customer for n in expected}
    pieces = list(store.powder.recall.pieces(lot, 0.01))
    assert len(pieces) == sum(expected.values())
    assert store.powder.recall.lots_of_piece(1, pieces[0].piece) == pytest.approx(shares)
    assert store.powder.recall.lines(lot, shares[lot] + 0.01) == ()
    found = recall_lot(store, lot, 0.01)
    assert (found.pieces, sum(order.pieces for order in found.orders)) == (len(pieces), len(pieces))
    assert {who for who, _, _ in found.customers} == {plan.line(n).customer for n in expected}
    order = plan.line(lines[0].line).order
    assert {row[3] for row in store.powder.recall.lots_of_order(order)} == set(shares)


def test_a_correction_works_out_the_shares_anew(store, plan):
    """The drum gave half of what was booked: the old entry stays, the build's share of the lot halves or so."""
    printed(store, plan)
    before = store.powder.shares(1, "B1")
    entry = next(e for e in look(store).ledger.entries if e.target == "M01" and e.source.startswith("V"))
    lot = look(store).ledger.containers[entry.source].lot
    surplus = find_more(store, entry.kg / 2)
    correct(store, entry.number, entry.kg / 2, reason="scale not set to zero", at=at(1000), **MIRA)
    after = store.powder.shares(1, "B1")
    assert after[lot] < before[lot]
    assert sum(after.values()) == pytest.approx(1)
    assert look(store).ledger.entries[entry.number - 1] == entry
    assert surplus is not None


def find_more(store, kg):
    """Make room for a correction: the charge of B1 is topped up beforehand so that it never owes powder."""
    first = next(e for e in look(store).ledger.entries if e.source == "U01")
    return correct(store, first.number, first.kg + kg, reason="second scoop", at=at(990), **MIRA)


def test_parts_that_were_never_printed_leave_the_recall(store, plan):
    """A correction to zero takes the build out of every recall; the entry stays in the books."""
    back = printed(store, plan)
    entry = next(e for e in look(store).ledger.entries if e.target == back.parts)
    correct(store, entry.number, 0, reason="booked on the wrong build", at=at(1000), **MIRA)
    assert store.powder.shares(1, "B1") == {}
    assert recall_lot(store, "V-7712", 0.01).pieces == 0
    assert look(store).ledger.entries[entry.number - 1] == entry


def test_nothing_is_changed_or_deleted_even_from_outside(store):
    """Another tool that opens the file can neither change nor delete nor overdraw nor leave a gap."""
    row = "INSERT INTO powder_entry VALUES ({}, '2027-03-01', 'move', 'U01', 'U02', {}, 'x', '', 0, 0, NULL)"
    refused = [(f"{deed} {table}{end}", "written once") for table in ("powder_lot", "powder_container", "powder_entry")
               for deed, end in (("UPDATE", " SET at = at"), ("DELETE FROM", ""))]  # fmt: skip
    refused += [(row.format(7, 14_001), "nothing_negative"), (row.format(9, 1), "without a gap")]
    for deed, words in refused:
        with behind(store) as link, pytest.raises(IntegrityError, match=words):
            link.execute(text(deed))


@pytest.mark.parametrize(
    ("deed", "said"),
    [
        (lambda s: move(s, "U01", "U02", 14.001, at=at(5), **MIRA), "14.001 kg from 'U01', which holds 14.000 kg"),
        (lambda s: move(s, "U01", "U02", 0, at=at(5), **MIRA), "a scale reading of 0 kg"),
        (lambda s: move(s, "U1", "U02", 1, at=at(5), **MIRA), "no container 'U1'"),
        (lambda s: discard(s, "U01", 1, reason=" ", at=at(5), **MIRA), "without a cause"),
        (lambda s: weigh_in(s, "U01", 13, reason="", at=at(5), **MIRA), "13.000 kg, the books 14.000 kg"),
        (lambda s: move(s, "V01", "U01", 1, at=START + timedelta(days=400), **MIRA), "to be used by 2028-01-31"),
        (lambda s: correct(s, 1, 9, reason="", at=at(5), **MIRA), "a correction without a reason"),
        (lambda s: move(s, "U01", "U02", 1, at=at(5), by=" "), "nobody is named"),
        (lambda s: file_lot(s, "V-7712", "expires", "soon", at=at(5), **MIRA), "'soon' is no date"),
        (lambda s: open_drum(s, "V01", powder_c=12, room_c=24, relative_humidity=0.6, at=at(5), **MIRA), "dew point"),
    ],
)  # fmt: skip
def test_bad_input_is_refused_with_the_figures(store, deed, said):
    """And the books stay as they were."""
    before = store.powder.mark()
    with pytest.raises(InputError, match=said):
        deed(store)
    assert store.powder.mark() == before


def test_an_unlabelled_can_is_waste(store):
    """It may be discarded and nothing else, until somebody says how they know it."""
    lose_label(store, "U01", at=at(5), **MIRA)
    with pytest.raises(InputError, match="no label"):
        move(store, "U01", "U02", 1, at=at(6), **MIRA)
    assert look(store).stock("PA12", START.date()).blocked_kg == 14
    discard(store, "U01", 2, reason="no label", at=at(7), **MIRA)
    find_label(store, "U01", reason="only open can on the bench", at=at(8), **MIRA)
    move(store, "U01", "U02", 1, at=at(9), **MIRA)


def test_a_lot_without_certificate_waits(store, plan):
    """Its drums are not offered for blending until the certificate is filed."""
    got = receive_lot(store, material="PA12", supplier_lot="V-7800", drums_kg=[10], at=at(1), **MIRA)
    assert got.drums[0] not in {c.key for c in look(store).for_blending("PA12", START.date())}
    file_lot(store, "V-7800", "certificate", "V-7800.pdf", at=at(2), **MIRA)
    assert got.drums[0] in {c.key for c in look(store).for_blending("PA12", START.date())}


def test_a_weighing_beyond_its_limit_needs_a_reason(store, plan):
    """The refusal says what to take out; nothing is booked; with a reason it is."""
    slip = propose_blend(store, plan, "B1", today=START.date())
    weighed = [Weighing(p.can, p.kg, p.kg) for p in slip.blend.picks]
    wrong = [Weighing(weighed[0].can, weighed[0].asked_kg, weighed[0].asked_kg - 0.9), *weighed[1:]]
    before = store.powder.mark()
    with pytest.raises(InputError, match=r"add 0\.90 kg"):
        weigh_blend(store, plan, "B1", wrong, at=at(10), **MIRA)
    assert store.powder.mark() == before
    assert weigh_blend(store, plan, "B1", wrong, reason="can ran empty", at=at(10), **MIRA).blend == "M01"


def test_an_emptied_can_leaves_nothing_in_the_books(store, plan):
    """Poured out whole, 30 g more or less than booked are found or missing under that name; the can is empty."""
    for can, off in (("U01", 0.03), ("U02", -0.03)):
        kg = look(store).ledger.kg(can)
        weigh_blend(store, plan, "B1", [Weighing(can, kg, kg + off, is_emptied=True)], at=at(10), **MIRA)
        assert look(store).ledger.kg(can) == 0
    assert look(store).ledger.kg("found by weighing") == pytest.approx(-0.03)
    assert look(store).ledger.kg("missing") == pytest.approx(0.03)


def test_only_what_is_missing_is_proposed(store, plan):
    """After half a charge the slip is for the other half; after all of it, and after the print, there is none."""
    need = plan.build("B1").powder.charge_kg
    blend = mix(store, plan).blend
    with pytest.raises(InputError, match="are blended or charged for B1"):
        propose_blend(store, plan, "B1", today=START.date())
    move(store, blend, "U02", round(need / 2, 2), at=at(15), **MIRA)
    _, findings = charge_build(store, plan, "B1", blend, at=at(20), **MIRA)
    assert [f.code for f in findings] == ["powder.charge-short"]
    rest = propose_blend(store, plan, "B1", today=START.date()).blend
    assert rest.kg == pytest.approx(need / 2, abs=0.02)
    second = mix(store, plan, minutes=30).blend
    assert charge_build(store, plan, "B1", second, at=at(31), **MIRA)[1] == ()
    book_back(store, plan, "B1", {Fraction.CAKE: [1]}, rest_reason="hoses", at=at(99), **MIRA)
    with pytest.raises(InputError, match="was printed and booked back"):
        propose_blend(store, plan, "B1", today=START.date())


def test_a_blend_of_another_build_is_not_charged(store, plan):
    """The blend of B1 stays out of B2."""
    blend = mix(store, plan)
    with pytest.raises(InputError, match="mixed for B1"):
        charge_build(store, plan, "B2", blend.blend, at=at(20), **MIRA)


def test_a_scanned_can_is_judged_for_its_build(store, plan):
    """Only the blend of this build may go in, before and after it was poured; each refusal has its reason."""
    blend = mix(store, plan).blend
    today = START.date()
    assert judge_can(store, plan, "B1", f"cakewright:can/{blend}", today) == ""
    assert "mixed for B1 of plan 1" in judge_can(store, plan, "B2", blend, today)
    assert "only a blend" in judge_can(store, plan, "B1", "U01", today)
    assert "no container" in judge_can(store, plan, "B1", "Q9", today)
    assert "to be used by" in judge_can(store, plan, "B1", "V01", date(2028, 3, 1))
    charge_build(store, plan, "B1", blend, at=at(20), **MIRA)
    assert judge_can(store, plan, "B1", blend, today) == ""
    lose_label(store, "U01", at=at(21), **MIRA)
    assert "no label" in judge_can(store, plan, "B1", "U01", today)


def test_fractions_get_the_dose_of_their_region(store, plan):
    """With the heat model's dose the top third is younger than the mean of the cake, and the crust the oldest."""
    edges = np.array([0.0, 10.0, 20.0, 30.0])
    one = np.array([0.0, 1.0])
    dose = PowderDose(np.array([30.0, 20.0, 4.0])[:, None, None], np.ones((3, 1, 1)), edges, one, one)
    build = replace(plan.build("B1"), heat=SimpleNamespace(dose=dose))
    assert dose_of(build, Fraction.CAKE) == pytest.approx(18)
    assert dose_of(build, Fraction.TOP) == pytest.approx(4)
    assert dose_of(build, Fraction.CRUST) == pytest.approx(30)
    assert dose_of(build, Fraction.OVERFLOW) == 0
    hot = replace(plan, builds=(build, *plan.builds[1:]))
    blend = mix(store, hot)
    charge_build(store, hot, "B1", blend.blend, at=at(20), **MIRA)
    back = book_back(store, hot, "B1", {Fraction.CAKE: [2], Fraction.TOP: [1]}, rest_reason="hoses", at=at(99), **MIRA)
    cake, top = (look(store).can(code) for _, code, _ in back.cans)
    assert (cake.dose_h, top.dose_h) == pytest.approx((18, 4))
    assert top.flow > cake.flow
    assert not isinstance(plan.build("B1").heat, SimpleNamespace)


def test_what_does_not_come_back_stays_open_until_it_is_named(store, plan):
    """200 g are missing: a finding without a reason, an entry to 'missing' with one."""
    blend = mix(store, plan)
    charge_build(store, plan, "B1", blend.blend, at=at(20), **MIRA)
    need = plan.build("B1").powder
    came = {Fraction.CAKE: [round(blend.kg - round(need.in_parts_kg, 3) - 0.2, 3)]}
    back = book_back(store, plan, "B1", came, at=at(900), **MIRA)
    assert [f.code for f in back.findings] == ["powder.charge-open"]
    assert back.rest_kg == pytest.approx(0.2, abs=0.0011)
    named = book_back(store, plan, "B1", {}, rest_reason="filter bag", at=at(910), **MIRA)
    assert named.rest_kg == 0
    assert look(store).ledger.kg("missing") == pytest.approx(0.2, abs=0.0011)


def test_more_than_was_charged_needs_a_name_too(store, plan):
    """Half a kilogram too much is refused with the figures; with a reason it is booked as found."""
    blend = mix(store, plan)
    charge_build(store, plan, "B1", blend.blend, at=at(20), **MIRA)
    came = {Fraction.CAKE: [blend.kg]}
    with pytest.raises(InputError, match="which holds"):
        book_back(store, plan, "B1", came, at=at(900), **MIRA)
    book_back(store, plan, "B1", came, rest_reason="rest of the last build in the hose", at=at(900), **MIRA)
    assert sum(look(store).ledger.grams().values()) == 0


def test_sieving_books_oversize_and_names_the_gap(store, plan):
    """What went through is a used can, what stayed is waste, what is neither is missing under its name."""
    cake = printed(store, plan).cans[0][1]
    there = look(store).ledger.kg(cake)
    into, findings = sieve(
        store, cake, through_kg=round(there - 0.5, 3), oversize_kg=0.1, cloth="S3", at=at(950), **MIRA
    )
    assert look(store).can(into).kind is ContainerKind.USED
    assert [f.code for f in findings] == ["powder.sieve-gap"]
    assert look(store).ledger.kg(cake) == 0
    with pytest.raises(InputError, match="which holds"):
        sieve(store, into, through_kg=there, oversize_kg=0, at=at(960), **MIRA)


def test_a_measurement_pulls_the_belief_and_a_blend_by_flow_uses_it(store, plan):
    """Powder that flows worse than thought asks for more virgin powder."""
    by_flow = {"today": START.date(), "mode": BlendMode.FLOW}
    before = propose_blend(store, plan, "B1", **by_flow).blend
    expected = look(store).can("U01").flow
    measure_flow(store, "U01", 15.0, at=at(5), **MIRA)
    after = look(store).can("U01")
    assert 15.0 < after.flow < expected
    assert after.flow_range[0] < after.flow < after.flow_range[1]
    assert propose_blend(store, plan, "B1", **by_flow).blend.virgin_kg > before.virgin_kg


def test_a_scanned_code_is_understood_in_every_form(store):
    """From the scanner, in small letters, with blanks."""
    ledger = look(store).ledger
    assert code_of(ledger, "cakewright:can/U01") == code_of(ledger, " u01 ") == "U01"
    with pytest.raises(InputError, match="did you mean U01"):
        code_of(ledger, "U011")


def test_the_books_survive_reopening(store):
    """What was booked is there after the program was closed, containers, ages and all."""
    before = look(store).shelf()
    with open_store(store.address) as again:
        assert look(again).shelf() == before
