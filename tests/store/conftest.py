"""An empty store, and a week with every optional thing filled in."""

from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest
from sqlalchemy import create_engine

from cakewright.findings import Finding, Severity
from cakewright.model.heat import CakeHeat, PieceHeat, PowderDose
from cakewright.model.order import OrderList
from cakewright.store import open_store
from cakewright.store.engine import store_url
from tests.documents.world import week

NOON = datetime(2027, 3, 1, 12, 0, tzinfo=UTC)


@pytest.fixture
def store(new_database):
    """A database with nothing in it: once a file, once on a server."""
    with open_store(new_database) as store:
        yield store


@pytest.fixture
def file_store(tmp_path):
    """A database in a file with nothing in it, for what only files have."""
    with open_store(tmp_path / "cell.sqlite") as store:
        yield store


@contextmanager
def behind(store):
    """A connection of somebody with a database tool, past the program: no checks of ours, no translation."""
    engine = create_engine(store_url(store.address))
    with engine.connect() as link:
        yield link
        link.commit()
    engine.dispose()


def heat(build):
    """A record of heat with every number different, one moment before the upper half was there."""
    names = [p.piece for p in build.nest.placements]
    section = np.linspace(20.0, 170.0, 24, dtype=np.float32).reshape(2, 4, 3)
    section[0, 2:] = np.nan
    edges = [np.arange(n + 1.0) for n in (4, 3, 2)]
    hours = np.arange(24.0).reshape(4, 3, 2)
    doubt = Finding("heat.soft-for-long", Severity.NOTE, "30 h soft", names[0], "move it")
    return CakeHeat(
        pieces=tuple(PieceHeat(n, (i + 1.5, i + 2.5, i + 3.5), 160.0 + i, 9.0, 8.5, 0.25) for i, n in enumerate(names)),
        time_s=np.array([-60.0, 120.0]), piece_c=np.arange(2.0 * len(names)).reshape(2, -1), section_c=section,
        section_solid=np.full((4, 3), 0.1, dtype=np.float32), section_y_mm=95.0, cell_mm=(7.5, 8.0),
        base_powder_mm=10.0, dose=PowderDose(hours, hours + 1, *edges), may_leave_s=4000.0, heat_error=1e-4, speed=1.1,
        findings=(doubt,), left_in_s=50_000.0,
    )  # fmt: skip


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
        heat=heat(plan.builds[0]),
    )
    return replace(
        plan,
        parts={**plan.parts, "ring": ring},
        orders=OrderList(plan.orders.source, (first, *plan.orders.lines[1:]), (replace(spot, code="orders.twice"),)),
        promises=(late, *plan.promises[1:]),
        builds=(build, *plan.builds[1:]),
        schedule=replace(plan.schedule, notes=("as dispatched",)),
    )
