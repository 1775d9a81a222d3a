"""Weeks that several tests of the app look at, planned once."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime

import pytest

from cakewright import plan_week, read_orders
from cakewright.app.effort import effort_in_steps
from cakewright.model.plan import WeekPlan
from cakewright.store import Store, open_store
from tests.app.floor_worlds import NOW, week_with_bars
from tests.app.worlds import small_cell, write_order_book

MONDAY = datetime(2027, 3, 1, 8, tzinfo=UTC)


@pytest.fixture(scope="session")
def caged_week(tmp_path_factory) -> WeekPlan:
    """Twelve cubes of 15 mm in a cage, beside three loose plates."""
    folder = tmp_path_factory.mktemp("caged")
    cell = small_cell()
    material, finish, quality = cell.materials[0].name, cell.finishes[0].name, cell.classes[0].name
    rows = [
        f"{n},A-1,2027-03-01,Team,{part},A,{qty},{material},{finish},{quality},2027-03-19,{part}.stl,{flag}"
        for n, (part, qty, flag) in enumerate([("cube", 12, "cage"), ("plate", 3, "")], start=1)
    ]
    book, parts = write_order_book(folder, cell, rows)
    return plan_week(read_orders(book, cell), cell, parts, start=MONDAY, effort=effort_in_steps(3))


@pytest.fixture
def plan() -> WeekPlan:
    """A small week with test bars, made by hand."""
    return week_with_bars()


@pytest.fixture
def store(tmp_path, plan) -> Iterator[Store]:
    """A database that holds the plan."""
    with open_store(tmp_path / "cell.sqlite") as store:
        store.save_plan(plan, made_by="Mira", at=NOW)
        yield store
