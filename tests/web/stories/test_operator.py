"""The operator: unpack by map, stop and salvage, blend, when may I open it."""

import re

from cakewright.store import PieceState, last_words
from tests.web.browser import barriers

GLOVE_PX = 45  # 12 mm at 96 px to the inch


def small_targets(page):
    """What is pressed with gloves and is lower than 12 mm."""
    return page.evaluate(
        """(least) => [...document.querySelectorAll('main :is(button, .button, select, input:not([type=hidden]))')]
           .filter(e => e.offsetParent && e.type !== 'checkbox' && e.getBoundingClientRect().height < least)
           .map(e => e.outerHTML.slice(0, 80))""",
        GLOVE_PX,
    )


def test_unpack_by_map(tablet):
    """From the top down, the next depth first; found, missing and broken by touch; what remains is always there."""
    page = tablet.page
    tablet.is_at(2, 8)
    tablet.goes_to("/plans/1/builds/B2/unpack?by=Tobias+Renn")
    assert small_targets(page) == []
    depths = [int(d) for d in re.findall(r"(\d+) to \d+ mm below the surface", tablet.text())]
    assert depths == sorted(depths) and depths[0] == 0
    assert "40 of 40 still in the cake" in tablet.text()
    page.get_by_role("button", name="Found L01-6", exact=True).click()
    page.get_by_text("39 of 40 still in the cake").wait_for()
    page.get_by_role("button", name="Broken L06-1", exact=True).click()
    page.get_by_text("38 of 40 still in the cake").wait_for()
    page.get_by_role("button", name="Missing L07-1", exact=True).click()
    page.get_by_text("37 of 40 still in the cake").wait_for()
    page.get_by_role("button", name=re.compile("All 3 found")).first.click()
    page.get_by_text("34 of 40 still in the cake").wait_for()
    said = last_words(tablet.store.piece_records(1, "B2"))
    assert said["L06-1"].state is PieceState.BROKEN and said["L07-1"].state is PieceState.MISSING
    assert barriers(page) == []
    tablet.shows("O2-unpack")
    paper = page.request.get(tablet.at + "/plans/1/papers/B2/unpacking-map.pdf")
    assert paper.ok and paper.body().startswith(b"%PDF")


def test_stop_and_salvage(tablet):
    """Layer and cause in, fates of every piece out; what ends near the stop is held, never counted as good."""
    page = tablet.page
    tablet.is_at(1, 14)
    tablet.goes_to("/plans/1/builds/B2")
    page.get_by_role("link", name="It has stopped").click()
    page.get_by_label("Finished layers").fill("400")
    page.get_by_label("Why").select_option("power")
    page.get_by_label("In doubt below the stop, mm").fill("30")
    tablet.presses("Show what that means")
    page.get_by_text("Ways out, the best first").wait_for()
    assert small_targets(page) == []
    assert re.search(r"[1-9]\d* held: inspect first", tablet.text().replace("\n", " "))
    assert "Quarantine" in tablet.text()
    fates = page.request.get(tablet.at + "/api/v1/plans/1/builds/B2/stop?layer=400").json()
    assert fates
    tablet.shows("O3-stopped")


def test_blend(tablet):
    """Which cans and how much; a can without a label and a weighing far off are refused; the books follow."""
    page = tablet.page
    tablet.goes_to("/plans/1/builds/B2/powder?by=Tobias+Renn")
    page.get_by_label("Who").first.select_option("Tobias Renn")
    asked = {}
    for box in page.locator("input[name^='asked:']").all():
        can = box.get_attribute("name").split(":")[1]
        asked[can] = float(box.get_attribute("value"))
    assert len(asked) >= 2
    ledger = tablet.store.powder.read().ledger
    unlabelled = next(k for k, c in ledger.containers.items() if not c.is_labelled and c.material == "PA12")
    first = next(iter(asked))
    for can, kg in asked.items():
        page.locator(f"input[name='scan:{can}']").fill(unlabelled if can == first else can)
        page.locator(f"input[name='kg:{can}']").fill(f"{kg:.2f}")
    tablet.presses("Book as weighed")
    assert sum(tablet.store.powder.levels().values()) == 0
    assert not tablet.store.powder.shares(1, "B2")
    refused = tablet.text()
    assert unlabelled in refused or "label" in refused
    tablet.shows("O4-refused")
    tablet.heard[:] = [said for said in tablet.heard if "422" not in said]  # the refusal itself
    page.get_by_label("Who").first.select_option("Tobias Renn")
    for can, kg in asked.items():
        page.locator(f"input[name='scan:{can}']").fill(can)
        page.locator(f"input[name='kg:{can}']").fill(f"{kg:.2f}")
    tablet.presses("Book as weighed")
    page.wait_for_load_state("load")
    after = tablet.store.powder.levels()
    assert sum(after.values()) == 0
    assert any(key.startswith("M") for key in after), "a blend has a can of its own"
    tablet.shows("O4-blended")


def test_when_may_i_open_it(tablet):
    """The earliest, likely and slow hour; opening early needs a name and a reason and marks the pieces."""
    page = tablet.page
    tablet.is_at(1, 23)
    tablet.goes_to("/plans/1/builds/B2/heat")
    said = tablet.text()
    hours = [re.search(rf"{word}\s+(\w+ \d+ \w+ \d\d:\d\d)", said).group(1) for word in
             ("not before", "probably cool", "slow case")]  # fmt: skip
    assert len(set(hours)) == 3
    tablet.shows("O5-heat")
    tablet.goes_to("/plans/1/builds/B2/run?by=Tobias+Renn")
    answer = page.request.post(
        tablet.at + "/plans/1/builds/B2/run/open-early",
        form={"by": "Tobias Renn", "reason": ""}, headers={"origin": tablet.at}, max_redirects=0,
    )  # fmt: skip
    assert answer.status == 422
    assert not [r for r in tablet.store.floor.records(plan=1) if "opened" in r.kind.value]
