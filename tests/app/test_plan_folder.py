"""A plan made again gets the same papers as any plan, and says at their top what changed."""

from dataclasses import replace
from datetime import timedelta

import pytest

from cakewright.app.plan_folder import base_of, change_of, write_papers
from cakewright.app.replan import accept, replan
from cakewright.app.write_plan import write_plan
from cakewright.model.plan import TaskKind
from cakewright.store import open_store
from tests.app.running import MONDAY, running_week, task
from tests.documents.paper import text_of

HOUR = timedelta(hours=1)


@pytest.fixture(scope="module")
def written(tmp_path_factory):
    """The week, and the week made again because the machine is down for a day."""
    out = tmp_path_factory.mktemp("plans")
    plan = replace(running_week(), version=0)
    _, first = write_plan(plan, out, at=MONDAY, database="cell.sqlite")
    with open_store(out / "cell.sqlite") as store:
        plan = store.load_plan(1)
        load = max((task(plan, b.key, TaskKind.LOAD) for b in plan.builds), key=lambda t: t.start)
        window = (load.start - HOUR, load.start + 20 * HOUR)
        made = replan(plan, load.start - HOUR, unavailable={load.machine: [window]})
        version = accept(store, made, by="Mira", at=MONDAY)
        second = write_papers(store, version, at=MONDAY)
        again = write_papers(store, version, at=MONDAY)
        assert again == second
        change = change_of(store, store.load_plan(version))
    return first, second, made, change


def test_a_plan_made_again_has_the_papers_of_a_plan(written):
    """Slips, travellers, maps, files for the machine, calendars: file by file the same names, and what changed."""
    first, second, made, _ = written
    names = [{p.relative_to(folder).as_posix() for p in folder.rglob("*") if p.is_file()} for folder in (first, second)]
    assert second.name == "plan-002" and names[1] - names[0] == {"what-changed.txt"}
    assert names[0] <= names[1] and any(n.endswith("powder-slip.pdf") for n in names[1])
    schedule = (second / "schedule.csv").read_text(encoding="utf-8-sig")
    assert f"{made.plan.schedule.tasks[0].start:%Y-%m-%d}" in schedule


def test_the_difference_in_words_comes_first(written):
    first, second, made, change = written
    assert change.headline == made.difference.headline and change.since == 1
    told = (second / "what-changed.txt").read_text(encoding="utf-8")
    assert told.startswith(f"What changed since plan 1\n{made.difference.headline}\n")
    page = (second / "report.html").read_text(encoding="utf-8")
    assert page.index("What changed since plan 1") < page.index('id="first"')
    assert "What changed since" not in (first / "report.html").read_text(encoding="utf-8")
    text = text_of((second / "papers" / "handover.pdf").read_bytes())
    assert text.index("What changed since plan 1") < text.index("What ends when")


def test_a_week_planned_from_nothing_changed_nothing():
    assert base_of(running_week()) is None
