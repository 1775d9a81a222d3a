"""An empty store, and a week with every optional thing filled in."""

from dataclasses import replace
from datetime import UTC, datetime

import pytest

from cakewright.findings import Finding, Severity
from cakewright.model.order import OrderList
from cakewright.store import open_store
from tests.documents.world import week

NOON = datetime(2027, 3, 1, 12, 0, tzinfo=UTC)


@pytest.fixture
def store(tmp_path):
    """A database with nothing in it."""
    with open_store(tmp_path / "cell.sqlite") as store:
        yield store


@pytest.fixture
def full_week():
    """The invented week with the rare fields set: a place on a part, nominal sizes, flags, notes, nowhere to stand."""
    plan = week()
    spot = Finding("mesh.thin", Severity.WARNING, "0.4 mm wall", "ring.stl", "thicken it", (1.5, -2.0, 1e-9))
    ring = replace(plan.parts["ring"], findings=(spot, replace(spot, at_mm=None)))
    first = replace(
        plan.orders.lines[0], nominal_size_mm=(60.0, 40.0, 8.0), nominal_volume_cm3=19.2, flags=("rush", "ümlaut")
    )
    late = replace(plan.promises[0], ready=None, p50=None, p90=None, on_time_probability=None)
    build = replace(
        plan.builds[0],
        nest=replace(plan.builds[0].nest, notes=("a note",)),
        verification=replace(plan.builds[0].verification, tightest=None, outside=(("L01-01", 0.25),)),
    )
    return replace(
        plan,
        parts={**plan.parts, "ring": ring},
        orders=OrderList(plan.orders.source, (first, *plan.orders.lines[1:]), (replace(spot, code="orders.twice"),)),
        promises=(late, *plan.promises[1:]),
        builds=(build, *plan.builds[1:]),
        schedule=replace(plan.schedule, notes=("as dispatched",)),
    )
