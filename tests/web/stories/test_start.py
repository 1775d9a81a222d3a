"""The operator before a print: start in ten minutes, with gloves on and for a while without a network."""

import re

import pytest
import segno

from cakewright.documents.traveller import CHECKS
from cakewright.model.floor import FloorKind
from tests.web.browser import barriers
from tests.web.stories.test_operator import small_targets

RUN = "/plans/1/builds/B2/run?by=Kaya+Lind"


@pytest.fixture
def blended(tablet):
    """Monday, ten to eight; the powder of B2 is weighed and in its can."""
    tablet.is_at(1, 7, 50)
    tablet.goes_to("/plans/1/builds/B2/powder?by=Kaya+Lind")
    page, before = tablet.page, set(tablet.store.powder.read().ledger.containers)
    page.get_by_label("Who").first.select_option("Kaya Lind")
    for box in page.locator("input[name^='asked:']").all():
        can = box.get_attribute("name").split(":")[1]
        page.locator(f"input[name='scan:{can}']").fill(can)
        page.locator(f"input[name='kg:{can}']").fill(box.get_attribute("value"))
    tablet.presses("Book as weighed")
    page.wait_for_load_state("load")
    (tablet.blend,) = set(tablet.store.powder.read().ledger.containers) - before
    tablet.goes_to(RUN)
    return tablet


def holds(tablet, code):
    """A scanner types the code of a label and presses Enter; what is said about it."""
    tablet.page.locator("#code").fill(code)
    tablet.page.locator("#code").press("Enter")
    said = tablet.page.locator("section:has(#labels) ul.downloads li").first
    said.filter(has_text=code).wait_for()
    return said.inner_text()


def ticks(tablet, texts):
    for text in texts:
        fine = tablet.page.get_by_role("button", name=f"Fine: {text}")
        fine.click()
        fine.wait_for(state="detached")


def test_start_in_ten_minutes(blended):
    """Released by another than the planner, ticked, held against its labels, started; all of it has name and hour."""
    page, tablet = blended.page, blended
    assert small_targets(page) == []
    assert "nobody has released it" in tablet.text()
    assert page.get_by_role("button", name="It prints now").is_disabled()
    tablet.presses("I have looked at it: release")
    page.get_by_text("Released by Kaya Lind").wait_for()
    ticks(tablet, CHECKS)
    assert holds(tablet, "C1").startswith("chamber C1: right")
    assert "right" in holds(tablet, tablet.blend)
    assert barriers(page) == []
    tablet.shows("O1-ready")
    tablet.presses("It prints now")
    page.get_by_text("Running since").wait_for()
    records = tablet.store.floor.records(plan=1, build="B2")
    done = [r for r in records if r.kind in (FloorKind.RELEASE, FloorKind.CHECK, FloorKind.SCAN)]
    assert len(done) == 1 + len(CHECKS) + 2
    assert {r.by for r in done} == {"Kaya Lind"} and {r.at.hour for r in done} == {7}


def test_what_is_wrong_is_blocked_with_its_reason(blended):
    """Another material's chamber and can, another build's paper: the reason is said, and the start stays shut."""
    tablet = blended
    cans = tablet.store.powder.read().ledger.containers
    glass = next(can for can, kept in cans.items() if kept.material == "PA12-GF")
    assert "G1 is kept for PA12-GF, the build needs PA12" in holds(tablet, "G1")
    assert "PA12-GF" in holds(tablet, glass)
    assert "it belongs to B4, not to build B2" in holds(tablet, "B4")
    stop = tablet.page.locator(".stop").inner_text()
    assert all(f"the {what} held against it is wrong" in stop for what in ("chamber", "powder", "traveller"))
    assert tablet.page.get_by_role("button", name="It prints now").is_disabled()
    tablet.shows("O1-blocked")


def test_ticks_without_a_network_come_later_with_their_hour(blended):
    """Three ticks while the network is down wait on the tablet; back again they are kept once, with name and hour."""
    page, tablet = blended.page, blended
    page.context.set_offline(True)
    for text in CHECKS[:3]:
        page.get_by_role("button", name=f"Fine: {text}").click()
    page.locator("#waiting").filter(has_text="3 entries are kept on this device").wait_for()
    assert tablet.store.floor.records(plan=1, build="B2", kind=FloorKind.CHECK) == ()
    tablet.shows("O1-offline")
    tablet.is_at(1, 8, 20)
    page.context.set_offline(False)
    page.get_by_role("button", name=f"Fine: {CHECKS[2]}").wait_for(state="detached")
    kept = tablet.store.floor.records(plan=1, build="B2", kind=FloorKind.CHECK)
    assert [r.data["text"] for r in kept] == list(CHECKS[:3])
    assert {(r.by, r.at.hour, r.at.minute) for r in kept} == {("Kaya Lind", 7, 50)}
    tablet.heard[:] = [said for said in tablet.heard if "INTERNET_DISCONNECTED" not in said]  # as it was meant
    assert re.search(r"7 checks are open", tablet.text())


def test_a_label_is_read_from_a_picture(blended, tmp_path):
    """The camera of the tablet: chamber and can by pictures of their labels, judged like typed ones."""
    page, tablet = blended.page, blended
    for name, code in (("chamber", "C1"), ("can", f"cakewright:can/{tablet.blend}")):
        segno.make(code, error="m").save(tmp_path / f"{name}.png", scale=6, border=6)
        page.set_input_files("#label-picture", tmp_path / f"{name}.png")
        page.get_by_text("ready to be kept").wait_for()
        page.get_by_role("button", name="Read the label").click()
        page.locator("section:has(#labels) ul.downloads li").filter(has_text=code.rpartition("/")[2]).wait_for()
    scans = tablet.store.floor.records(plan=1, build="B2", kind=FloorKind.SCAN)
    assert [(r.data["what"], r.data["verdict"], r.by) for r in scans] == [
        ("chamber", "right", "Kaya Lind"),
        ("powder", "right", "Kaya Lind"),
    ]
    tablet.shows("O1-picture")
