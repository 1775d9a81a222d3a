"""The planner: plan the week, what if it fails, why late, powder next month, margin after the fact."""

import re

from cakewright.app.jobs import STOPPED
from cakewright.documents.gantt_rows import lonely_openings
from cakewright.model.plan import TaskKind
from tests.web.browser import barriers
from tests.web.conftest import spent_s


def test_plan_the_week(desk):
    """Builds lie inside people's hours or say so; each line shows its build and why; nothing is left without a word."""
    plan = desk.store.load_plan(1)
    desk.goes_to("/plans/1/calendar")
    for build in plan.builds:
        assert desk.page.locator("svg").get_by_text(build.key, exact=True).count() > 0
    for task in plan.schedule.tasks:
        if task.kind in {TaskKind.LOAD, TaskKind.UNLOAD, TaskKind.UNPACK}:
            assert any(_is_in(plan, name, task.start) for name in task.people), f"{task.kind} of {task.build}"
    lonely = lonely_openings(plan)
    assert desk.page.locator("svg .ripe").count() == len(lonely)
    desk.shows("P1-calendar")
    for line in plan.orders.lines:
        desk.goes_to(f"/plans/1/lines/{line.line}")
        said = desk.text()
        builds = [b for b in plan.builds if line.line in b.lines]
        assert all(b.key in said for b in builds)
        assert "Why:" in said
    desk.shows("P1-line")


def _is_in(plan, name, when):
    """Whether a shift of this person holds the instant."""
    local = when.astimezone(plan.cell.zone)
    person = next(p for p in plan.cell.people if p.name == name)
    return any(local.weekday() in s.weekdays and s.start <= local.time() < s.end for s in person.shifts)


def test_what_has_begun_stays_when_planned_again(desk):
    """Something is out of use: the rest is planned around it, and what has begun keeps machine and hour."""
    desk.is_at(2, 9)
    desk.goes_to("/plans/1/again")
    desk.page.get_by_label("What or who").select_option("B1")
    desk.page.locator("#start").fill("2027-03-03T06:00")
    desk.page.locator("#end").fill("2027-03-05T06:00")
    desk.presses("Plan around it")
    desk.page.wait_for_url("**/again?answer=*")
    assert "B4" in desk.text()
    desk.shows("P1-again")
    desk.page.locator("form:has-text('Keep') select[name=by]").first.select_option("Ines Marlow")
    desk.page.locator("form:has(input[name=draft]) button[type=submit]").first.click()
    desk.page.wait_for_url("**/plans/2")
    before, after = desk.store.load_plan(1), desk.store.load_plan(2)
    for key in ("B1", "B2"):
        old, new = (next(t for t in p.schedule.tasks if t.build == key and t.kind is TaskKind.PRINT) for p in
                    (before, after))  # fmt: skip
        assert (old.machine, old.start, old.end) == (new.machine, new.start, new.end)


def test_what_if_it_fails(desk, caplog):
    """In seconds: fates of every piece, powder, two ways out or more; nothing changes until one is taken."""
    desk.is_at(2, 9)
    desk.goes_to("/plans/1/builds/B1")
    desk.page.get_by_role("link", name="It has stopped").click()
    desk.page.get_by_label("Finished layers").fill("120")
    desk.page.get_by_label("Why").select_option("power")
    with caplog.at_level("INFO", logger="cakewright"):
        desk.presses("Show what that means")
        desk.page.get_by_text("Ways out, the best first").wait_for()
    assert 0 < spent_s(caplog, STOPPED) < 5
    said = desk.text()
    whole, held, half, not_begun = (int(re.search(rf"(\d+)\s+{word}", said).group(1)) for word in
                                    ("whole", "held", "half made", "not begun"))  # fmt: skip
    assert whole + held + half + not_begun == desk.store.load_plan(1).build("B1").pieces
    assert "weighted lateness" in said and "kg" in said
    assert desk.page.get_by_role("button", name="Take this way").count() >= 2
    assert desk.store.newest() == 1
    assert barriers(desk.page) == []
    desk.shows("P2-stopped")


def test_why_are_we_late(desk):
    """Hours by reason add up to the calendar hours; the page leads to the builds."""
    desk.is_at(5, 16)
    desk.goes_to("/plans/1/numbers")
    said = desk.text()
    total = float(re.search(r"4 machines: ([\d.]+) h", said).group(1))
    hours = desk.page.locator("section:has(h2:text('Where the machine hours go'))").inner_text()
    planned = sum(float(h) for h in re.findall(r"([\d.]+) h planned", hours))
    assert abs(planned - total) <= 0.01 * total
    assert desk.page.locator("main a[href$='/builds/B2']").count() > 0
    desk.shows("P3-numbers")


def test_powder_next_month(desk):
    """Stock with a range, the day to order by, what density and refresh change; the ledger adds up to nothing."""
    desk.goes_to("/powder/outlook")
    assert "No order needed" in desk.text() or "order by" in desk.text().lower()
    before = re.search(r"([\d.]+) kg charged in a week, refresh (\d+) %", desk.text()).groups()
    desk.page.get_by_label("What if refresh").fill("30")
    desk.presses("Look again")
    desk.page.get_by_text("refresh 30 %").first.wait_for()
    after = re.search(r"([\d.]+) kg charged in a week, refresh (\d+) %", desk.text()).groups()
    assert before != after and after[1] == "30"
    assert sum(desk.store.powder.levels().values()) == 0
    desk.shows("P4-outlook")


def test_margin_after_the_fact(desk):
    """Once begun, ended and packed were noted, the line shows what it really took; shares add up to the difference."""
    desk.is_at(1, 18)
    desk.goes_to("/plans/1/happened?by=Tobias+Renn&at=2027-03-01T17:30")
    row = desk.page.locator("li, tr, section, article, div").filter(has=desk.page.locator(
        "form:has(input[value=print]):has(input[value=B2])")).last  # fmt: skip
    assert "The chamber was not scanned or typed." in row.inner_text()
    row.get_by_label("began without labels, because").fill("the reader is being repaired")
    row.locator("input[type=datetime-local]").fill("2027-03-01T08:30")
    row.get_by_role("button", name="Began").click()
    desk.page.wait_for_load_state("load")
    desk.goes_to("/plans/1/happened?by=Tobias+Renn&at=2027-03-01T17:30")
    assert "not scanned" not in row.inner_text()
    row.locator("input[type=datetime-local]").fill("2027-03-01T17:45")
    row.get_by_role("button", name="Ended").click()
    desk.page.wait_for_load_state("load")
    desk.is_at(5, 16)
    desk.goes_to("/plans/1/numbers")
    said = desk.page.locator("section:has(h2:text('By build'))").inner_text()
    assert "9.2" in said or "9.3" in said
    desk.shows("P5-margin")
