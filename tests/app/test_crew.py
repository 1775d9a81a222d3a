"""A plan worked out by a cluster is the plan of this computer, also when a worker is lost on the way."""

from __future__ import annotations

import os
import signal
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import UTC, datetime

import pytest

from cakewright import plan_week, read_orders
from cakewright.app.cages import Cages
from cakewright.app.crew import crew_at, results
from cakewright.app.effort import effort_in_steps
from cakewright.app.nest_builds import Nester, nest_elsewhere
from cakewright.errors import InputError
from tests.app.worlds import small_cell, write_order_book
from tests.store.same import difference

MONDAY = datetime(2027, 3, 1, 8, tzinfo=UTC)
EFFORT = effort_in_steps(3)


@pytest.fixture(scope="module")
def cluster():
    """Two worker processes on this computer, each with one thread."""
    distributed = pytest.importorskip("distributed", reason="pip install 'cakewright[cluster]'")
    with distributed.LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address="127.0.0.1:0", processes=True,
                                  silence_logs=50) as made:  # fmt: skip
        yield made


@pytest.fixture(scope="module")
def book(tmp_path_factory):
    folder = tmp_path_factory.mktemp("crew")
    cell = small_cell()
    orders, parts = write_order_book(folder, cell)
    return read_orders(orders, cell), cell, parts


@pytest.fixture(scope="module")
def here(book):
    """The plan as this computer makes it."""
    orders, cell, parts = book
    return plan_week(orders, cell, parts, start=MONDAY, effort=EFFORT)


def without_clock(plan):
    """A plan without the seconds that its making took."""
    builds = tuple(
        replace(b, nest=replace(b.nest, seconds=0.0), verification=replace(b.verification, seconds=0.0))
        for b in plan.builds
    )
    return replace(plan, builds=builds, timings={})


def test_the_cluster_makes_the_same_plan(book, here, cluster):
    """Nests, heat, dates with their chances: not a number differs."""
    orders, cell, parts = book
    with crew_at(cluster.scheduler_address) as crew:
        there = plan_week(orders, cell, parts, start=MONDAY, effort=EFFORT, crew=crew)
    assert difference(without_clock(here), without_clock(there)) is None


def test_threads_do_too(book, here):
    """Any executor will do."""
    orders, cell, parts = book
    with ThreadPoolExecutor(2) as crew:
        there = plan_week(orders, cell, parts, start=MONDAY, effort=EFFORT, crew=crew)
    assert difference(without_clock(here), without_clock(there)) is None


def test_a_lost_worker_changes_nothing(here, cluster):
    """One of two workers is killed after the first nest came back: the others are finished, and are the same."""
    nester = Nester(here.orders.lines, here.parts, _rotations(here), here.cell, EFFORT, 1, Cages())
    batches = [_batch(here, n) for n in range(6)]
    alone = [nest_elsewhere(nester.only(b), b)[0] for b in batches]
    with crew_at(cluster.scheduler_address) as crew:
        made = results(crew, nest_elsewhere, [(nester.only(b), b) for b in batches])
        found = [next(made)[0]]
        lost = next(iter(cluster.workers.values())).pid
        os.kill(lost, signal.SIGKILL)
        found += [placed for placed, _ in made]
    strip = [tuple(replace(n, seconds=0.0) for n in nests) for nests in (alone, found)]
    assert difference(*strip) is None
    assert len({n.placements[0].piece for n in found}) == 1 and len(found) == 6


def _rotations(plan):
    from cakewright.nesting.orientations import orientations_for

    return {key: orientations_for(part.mesh, part.orientation, 1) for key, part in plan.parts.items()}


def _batch(plan, n):
    """The pieces of the first build, each time one fewer."""
    from cakewright.app.plan_build import Batch
    from cakewright.nesting.task import NestPiece

    pieces = [NestPiece(p.piece, p.part_key, p.line) for p in plan.builds[0].nest.placements]
    kept = tuple(pieces[: len(pieces) - n])
    return Batch(f"B{n}", plan.cell.machines[0], kept, "a test", ())


def test_where_no_cluster_answers_it_says_so(monkeypatch):
    """A wrong address is told with what to do; without an address this computer works."""
    monkeypatch.delenv("CAKEWRIGHT_CLUSTER", raising=False)
    monkeypatch.setattr("cakewright.app.crew.CONNECT_S", 0.5)
    with pytest.raises(InputError, match=r"no cluster answers at tcp://127\.0\.0\.1:1"), crew_at("tcp://127.0.0.1:1"):
        pass
    with crew_at(None) as crew:
        assert crew is None
