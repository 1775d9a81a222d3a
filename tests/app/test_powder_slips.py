"""Slips that name cans: each build of a plan takes what the ones before it left."""

import shutil

import pypdfium2
import pytest

from cakewright.app.powder_blend import propose_blend
from cakewright.app.powder_books import look
from cakewright.app.powder_build import build_powder
from cakewright.app.powder_deeds import receive_lot
from cakewright.app.powder_family import family_of
from cakewright.app.powder_slips import slip_pdf, week_blends, write_slips
from cakewright.app.run_build import scan
from cakewright.app.write_plan import DATABASE, write_plan
from cakewright.errors import InputError
from tests.app.test_powder import MIRA, START, at, mix, plan, printed, stocked
from tests.app.test_powder import file_store as store
from tests.documents.world import week

__all__ = ["plan", "stocked", "store"]  # fixtures


def words(pdf):
    """The text of a PDF."""
    return " ".join(page.get_textpage().get_text_range() for page in pypdfium2.PdfDocument(pdf))


def test_no_gram_is_promised_twice(store, plan):
    """All blends of the week together take from no can more than it holds, and each is what its build needs."""
    blends = week_blends(store, plan, START.date())
    assert list(blends) == ["B1", "B2"]
    taken = {}
    for blend in blends.values():
        for pick in blend.picks:
            taken[pick.can] = taken.get(pick.can, 0.0) + pick.kg
    assert all(kg <= look(store).ledger.kg(can) + 1e-9 for can, kg in taken.items())
    for key, blend in blends.items():
        assert blend.kg == pytest.approx(plan.build(key).powder.charge_kg, abs=0.006)


def test_the_slip_names_the_cans(store, plan, tmp_path):
    """On paper and in the plan's folder; a build for which nothing is there keeps its plain slip."""
    cans = [pick.can for pick in week_blends(store, plan, START.date())["B1"].picks]
    text = words(slip_pdf(store, plan, "B1", START.date()))
    assert all(can in text for can in cans)
    write_slips(store, plan, tmp_path, START.date())
    assert sorted(p.name for p in tmp_path.glob("*.pdf")) == ["B1-powder-slip.pdf", "B2-powder-slip.pdf"]


def test_a_written_plan_carries_slips_with_cans(stocked, tmp_path):
    """The folder of a plan that is written beside begun books names the cans; the plan itself counts with them."""
    shutil.copy(stocked, tmp_path / DATABASE)
    written, folder = write_plan(week(), tmp_path, at=at(5))
    assert written.version == 2
    text = words((folder / "papers" / "B1-powder-slip.pdf").read_bytes())
    assert "U01 used" in text
    assert "virgin" in text


def test_the_wrong_blend_held_against_a_build_is_told(store, plan):
    """At the machine the label of B2's blend is wrong for B1, and says for which build it was mixed."""
    blend = mix(store, plan, "B2").blend
    wrong = scan(store, plan, plan.build("B1"), f"cakewright:can/{blend}", at=at(30), **MIRA)
    right = scan(store, plan, plan.build("B2"), blend.lower(), at=at(31), **MIRA)
    assert wrong.data["verdict"] == f"{blend} was mixed for B2 of plan 1"
    assert right.data["verdict"] == "right"


def test_only_the_chosen_cans_are_taken(store, plan):
    """A choice that cannot make the charge is refused with the figures."""
    slip = propose_blend(store, plan, "B1", today=START.date(), only=["u02", "V03"])
    assert {pick.can for pick in slip.blend.picks} == {"U02", "V03"}
    with pytest.raises(InputError, match="virgin powder needed, 0 kg there"):
        propose_blend(store, plan, "B1", today=START.date(), only=["U01", "U02"])


def test_the_family_of_a_can_reaches_back_to_its_lots(store, plan):
    """What came back from a build leads over charge and blend to the drums, with the right shares."""
    cake = printed(store, plan).cans[0][1]
    family = family_of(look(store), cake)
    ways = {(way.source, way.target): way.share for way in family.ways}
    assert ways["charge 1/B1", cake] == pytest.approx(1)
    drums = sum(share for (source, target), share in ways.items() if source.startswith("V") and target == "M01")
    assert drums == pytest.approx(plan.build("B1").powder.refresh_ratio, abs=0.01)
    assert {can.lot for can in family.cans if can.lot} <= {"V-7712", "V-7740"}
    assert build_powder(store, 1, "B1").parts == "parts 1/B1"


def test_a_material_of_another_build_is_not_offered(store, plan):
    """Glass-filled powder on the shelf stays out of the slips of PA12."""
    receive_lot(store, material="PA12-GF", supplier_lot="G-1", drums_kg=[10], certificate="c", at=at(1), **MIRA)
    assert all(pick.can != "V05" for blend in week_blends(store, plan, START.date()).values() for pick in blend.picks)
