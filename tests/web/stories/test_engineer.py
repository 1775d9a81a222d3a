"""The customer's engineer before the print: what would not come out, where, by how much, and what they answer."""

import re

from tests.documents.paper import text_of
from tests.web.browser import barriers

PART = "/plans/1/lines/19/part"
DOUBT = re.compile(r"a wall of 0\.\d+ mm over \d+ mm²; limit 0\.8 mm")


def test_tell_me_before_you_print(desk):
    """Thin wall and warp with place, value, limit and advice, in pictures and as a report; the answer stays."""
    page = desk.page
    desk.is_at(1, 9)
    desk.goes_to(PART)
    said = desk.text()
    assert DOUBT.search(said) and "Found: 0.77 mm, at least 0.8 mm" in said
    assert "thicken the wall, or agree with the customer that it may break" in said
    assert "warp index" in said and "tilt it in the build" in said
    page.get_by_role("button", name="Show place 1").first.click()
    page.locator(".picked").filter(has_text="1").wait_for()
    assert page.request.get(f"{desk.at}{PART}/points/1.png").headers["content-type"] == "image/png"
    report = page.request.get(f"{desk.at}{PART}/report.pdf")
    paper = text_of(report.body())
    assert "0.77 mm" in paper and "frame-half_K.stl" in paper and "thicken" in paper
    place = page.locator("ol.points > li").first
    place.get_by_text("What the customer answers").click()
    place.get_by_role("textbox").nth(0).fill("The wall may stay, it is glued in")
    place.get_by_label("Who says so, at the customer").fill("their designer")
    place.get_by_label("Your name").fill("Joren Falk")
    place.get_by_role("button", name="Keep the answer with the order").click()
    page.get_by_text("The wall may stay, it is glued in").first.wait_for()
    assert barriers(page) == []
    desk.shows("C1-part")


def test_the_answer_stays_with_the_order(desk):
    """Planned again the answer is there as well, on the line and at its doubt; nobody else's order shows it."""
    plan = desk.store.load_plan(1)
    answer = desk.page.request.post(
        f"{desk.at}{PART}/points/1/answer",
        form={"answer": "leave it", "by": "Joren Falk", "said_by": "their designer"},
        headers={"origin": desk.at}, max_redirects=0,
    )  # fmt: skip
    assert answer.status == 303
    desk.store.save_plan(plan, made_by="Ines Marlow", at=desk.now)
    desk.goes_to("/plans/2/lines/19/part")
    assert "The customer answered: leave it" in desk.text()
    desk.goes_to("/plans/2/lines/19")
    assert "leave it" in desk.text() and "their designer" in desk.text()
    desk.goes_to("/plans/2/lines/15")
    assert "leave it" not in desk.text()
