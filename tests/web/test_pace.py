"""Who asks too often waits, and nobody else does."""

from __future__ import annotations

import pytest

from cakewright.web.pace import Pace
from tests.web.quick_passwords import quick_passwords  # noqa: F401  (for every test here)
from tests.web.test_guard import browser, clock, logged_in, store  # noqa: F401  (fixtures)


def slow(client, per_minute):
    client.app.state.pace.per_minute = per_minute
    return client


def test_one_account_waits_and_the_others_do_not(store, clock):  # noqa: F811
    """The interface says how long, in the one shape of errors; pages say it as a page; pictures stay free."""
    ada, jon = (logged_in(store, clock, name) for name in ("Ada", "Jon"))
    for client in (ada, jon):
        slow(client, 5)
    answers = [ada.get("/api/v1/plans").status_code for _ in range(5)]
    assert answers == [200] * 5
    refused = ada.get("/api/v1/plans")
    assert refused.status_code == 429
    assert 1 <= int(refused.headers["retry-after"]) <= 60
    said = refused.json()["error"]
    assert said["code"] == "pace"
    assert "more than 5 requests in a minute by account Ada" in said["found"]
    assert ada.get("/plans/1").status_code == 429
    assert "wait" in ada.get("/plans/1").text
    assert ada.get("/static/style.css").status_code in {200, 404}
    assert ada.get("/api/v1/health").status_code == 200
    assert jon.get("/api/v1/plans").status_code == 200


def test_strangers_are_counted_by_their_address(store, clock):  # noqa: F811
    client = slow(browser(store, clock), 3)
    assert [client.get("/login").status_code for _ in range(4)] == [200, 200, 200, 429]


def test_no_limit_without_a_number():
    pace = Pace()
    assert not any(pace.wait_s("somebody") for _ in range(2000))


@pytest.mark.parametrize("who", ["account Ada", "address ::1"])
def test_the_minute_moves_on(who, monkeypatch):
    """What is older than a minute does not count any more."""
    now = [1_000_000.0]
    monkeypatch.setattr("time.time", lambda: now[0])
    pace = Pace(2)
    assert [pace.wait_s(who) for _ in range(3)] == [0, 0, 60]
    now[0] += 59
    assert pace.wait_s(who) == 1
    now[0] += 2
    assert pace.wait_s(who) == 0
