"""The invented past of the powder ends with exactly the shelf that the cell file promises."""

from datetime import UTC, datetime

import pytest

from cakewright.app.powder_books import look
from cakewright.demo import demo_cell
from cakewright.demo.powder import write_demo_powder
from cakewright.store import open_store

UNTIL = datetime(2027, 3, 1, 6, tzinfo=UTC)


@pytest.fixture(scope="module")
def store(tmp_path_factory):
    """The past of cell A."""
    with open_store(tmp_path_factory.mktemp("demo") / "cell.sqlite") as store:
        assert write_demo_powder(store, demo_cell("a"), UNTIL)
        yield store


def test_the_shelf_holds_what_the_cell_file_says(store):
    """To the gram, with one can that may not be used; the books add up to nothing."""
    view, material = look(store), demo_cell("a").materials[0]
    there = view.stock(material.name, UNTIL.date())
    assert (there.virgin_kg, there.ready_kg) == (material.virgin_kg, material.used_kg)
    assert len(there.blocked_why) == 1
    assert sum(view.ledger.grams().values()) == 0


def test_the_past_is_alive(store):
    """Several lots, mixed ages, dose, a measurement, a correction; all of it before the week begins."""
    view = look(store)
    used = [can for can in view.shelf() if can.kind.value == "used can" and can.is_labelled]
    assert any(len(can.lots) > 1 and sum(share > 0.02 for share in can.ages[:-1]) >= 3 for can in used)
    assert max(can.dose_h for can in used) > 10
    assert view.books.readings
    assert any(entry.corrects for entry in view.ledger.entries)
    assert max(entry.at for entry in view.ledger.entries) < UNTIL


def test_books_that_were_begun_are_left_alone(store):
    """A second call writes nothing."""
    before = store.powder.mark()
    assert not write_demo_powder(store, demo_cell("a"), UNTIL)
    assert store.powder.mark() == before
