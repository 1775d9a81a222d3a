"""The invented week behind the pages, at 06:40 on its Tuesday."""

import warnings
from dataclasses import replace
from datetime import UTC, datetime

import pytest

from cakewright.app.worker import keep_ready
from cakewright.store import open_store
from cakewright.web import inbox
from cakewright.web.application import create_app
from tests.documents.world import week
from tests.store.conftest import heat
from tests.store.filled import offer

TUESDAY = datetime(2027, 3, 2, 5, 40, tzinfo=UTC)  # 06:40 in the cell
BASE = "http://127.0.0.1"


@pytest.fixture(scope="session", autouse=True)
def quick_looks():
    """A job is looked at more often than people need, so that no test waits for a job that has ended."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(inbox, "POLL_S", 0.05)
        yield


def warm_week():
    """The invented week, its first build with a record of heat, its second as before heat was kept."""
    plan = week()
    return replace(plan, builds=(replace(plan.builds[0], heat=heat(plan.builds[0])), *plan.builds[1:]))


@pytest.fixture(scope="session")
def database(tmp_path_factory):
    """A database with two versions of the invented week; nobody writes to it."""
    path = tmp_path_factory.mktemp("web") / "cell.sqlite"
    with open_store(path) as store:
        for _ in range(2):
            store.save_plan(warm_week(), made_by="Mira", at=TUESDAY)
        store.add_job(kind="plan a week", by="Mira", folder="", at=TUESDAY)
        store.change_job(1, state="done", ended_at=TUESDAY, plan=2)
        store.save_offer(offer(), at=TUESDAY, by="Mira")
    return path


def client_over(store, clock=lambda: TUESDAY):
    """A browser without windows that talks to the application directly."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # the test client announces a successor of the library it uses
        from starlette.testclient import TestClient

        keep_ready()  # as a served application does
        return TestClient(create_app(store, clock=clock), base_url=BASE, raise_server_exceptions=False)


def opened(client, asked):
    """The job that was begun followed to its end and opened; an answer that refused at once is given back."""
    if asked.status_code != 303:
        return asked
    job = asked.headers["location"]
    client.get(job.partition("?")[0] + "/events")  # ends with the job
    return client.get(job, follow_redirects=False)


def asked(client, place, data, **more):
    """Ask a question on a page and wait for its job: the page that shows the answer, or what was wrong."""
    found = opened(client, client.post(place, data=data, follow_redirects=False, **more))
    return client.get(found.headers["location"]) if found.status_code == 303 else found


def spent_s(caplog, kind):
    """Processor seconds of the jobs of a kind that ended, as the log tells; fails when there was none."""
    told = [r.told for r in caplog.records if r.getMessage() == "job" and r.told["kind"] == kind]
    assert told, f"no job to {kind} has ended"
    return sum(one["cpu_s"] for one in told)


@pytest.fixture(scope="session")
def client(database):
    """The pages over that database."""
    with open_store(database) as store:
        yield client_over(store)
