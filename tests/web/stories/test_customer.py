"""The customer's engineer: where are my parts, evidence, recall."""

from tests.documents.paper import text_of
from tests.web.browser import barriers


def test_where_are_my_parts(desk):
    """The customer's own lines with stage and date, nobody else's name on it."""
    desk.is_at(2, 12)
    desk.goes_to("/plans/1/orders/status?order=B-AUD-100")
    said = desk.text()
    others = {line.customer for line in desk.store.load_plan(1).orders.lines} - {"Quillhaven Audio"}
    assert "earcup left" in said and "Wed 3 Mar" in said
    assert not [name for name in others if name in said]
    assert " cu" not in said
    desk.shows("C2-status")


def test_evidence(desk):
    """One document a delivery: revision and hash, build, machine, powder, measurements, deviations."""
    paper = desk.page.request.get(desk.at + "/plans/1/orders/certificate.pdf?order=B-PUM-100")
    assert paper.ok
    said = text_of(paper.body())
    plan = desk.store.load_plan(1)
    part = plan.parts[plan.part_of_line[1]]
    assert "impeller cover" in said and "B2" in said and part.origin.sha256[:8] in said


def test_recall(desk):
    """From a lot to the cans in the house and every piece; the threshold is on the page."""
    desk.goes_to("/powder/recall?lot=V-8101&at_least=1")
    said = desk.text()
    assert "Still in the house" in said and "V-8101" in said and "threshold" in said
    assert barriers(desk.page) == []
    desk.shows("C4-recall")
