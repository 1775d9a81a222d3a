"""Two days of the cell by the seeded actor of the month-long benchmark; everything must hold both evenings."""

from datetime import timedelta

from cakewright.store import open_store
from cakewright.web.application import create_app
from tests.cell_b import MONDAY, copied
from tests.soak import Actor, evening
from tests.web.browser import served


def test_a_day_and_the_next(planned, tmp_path):
    """Two builds are blended, checked and started; next day they end and come apart; nothing is lost on the way."""
    database = copied(planned, tmp_path)
    now = [MONDAY]
    with open_store(database) as store, served(create_app(store, clock=lambda: now[0])) as address:
        actor = Actor(address, seed=3, now=MONDAY)
        actor.works()
        first = evening(store, actor, database)
        assert first.begun == 2 and first.found == 0
        now[0] = actor.now = MONDAY + timedelta(days=2)
        actor.works()
        second = evening(store, actor, database)
        actor.line.close()
    assert second.begun == 4 and second.found > 0
    assert second.entries > first.entries
    assert second.changes >= first.changes
