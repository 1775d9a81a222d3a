"""The list of plans when there are many: counted once."""

from sqlalchemy import event

from cakewright.store import open_store
from tests.documents.world import week
from tests.store.conftest import NOON


def test_a_plan_is_counted_once(store):
    """The second look at the list reads no piece; a new plan, here or from another program, is counted alone."""
    store.save_plan(week(), made_by="Mira", at=NOON)
    first = store.plans()
    said = []
    event.listen(store._engine, "before_cursor_execute", lambda *given: said.append((given[2], given[3])))
    assert store.plans() == first
    assert not [words for words, _ in said if "placement" in words]
    with open_store(store.address) as other:
        other.save_plan(week(), made_by="Dev", at=NOON)
    said.clear()
    assert [p.version for p in store.plans()] == [2, 1] and store.plans()[1] == first[0]
    counted = [values for words, values in said if "placement" in words]
    assert len(counted) == 1 and 1 not in tuple(counted[0].values() if isinstance(counted[0], dict) else counted[0])
