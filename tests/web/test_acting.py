"""With accounts, the login acts: another name is recorded as entered by it, or signs with its own password."""

from __future__ import annotations

import pytest

from cakewright.web.acting import acting_name
from tests.web.conftest import BASE, TUESDAY, client_over, week
from tests.web.quick_passwords import quick_passwords  # noqa: F401  (for every test here)
from tests.web.test_guard import GOOD, logged_in, store  # noqa: F401  (the store with accounts)

RECORDS = "/api/v1/plans/1/builds/B1/records"
RELEASE = "/plans/1/builds/B1/run/release"


@pytest.fixture
def clock():
    return lambda: TUESDAY


def said(store):  # noqa: F811
    return [r.by for r in store.piece_records(1, "B1")]


def found(number, by, **more):
    return {"piece": week().builds[0].nest.placements[number].piece, "state": "found", "by": by, **more}


def test_a_name_that_is_not_the_login_is_not_taken_at_its_word(store, clock):  # noqa: F811
    """JSON: the own name stays, another one is recorded with who typed it."""
    client = logged_in(store, clock, "Jon")
    assert client.post(RECORDS, json=found(0, "Jon")).status_code == 201
    assert client.post(RECORDS, json=found(1, "Ada")).status_code == 201
    assert said(store) == ["Jon", "Ada, entered by Jon"]


def test_whoever_signs_acts_in_their_own_name(store, clock):  # noqa: F811
    """With the right password of the other; with a wrong one nothing happens, and it counts as a wrong try."""
    client = logged_in(store, clock, "Jon")
    assert client.post(RECORDS, json=found(0, "Ada", by_password=GOOD)).status_code == 201
    refused = client.post(RECORDS, json=found(1, "Ada", by_password="wrong"))
    assert (refused.status_code, refused.json()["error"]["code"]) == (403, "signature")
    assert said(store) == ["Ada"]
    assert store.accounts.wrong_since("Ada", TUESDAY) == 1


def test_a_step_of_two_people_needs_the_other_one(store, clock):  # noqa: F811
    """Releasing in somebody else's name is refused without that person's password."""
    client = logged_in(store, clock, "Ada")
    page = client.get("/plans/1/builds/B1/run?by=Jon").text
    assert 'name="by_password"' in page
    assert 'name="by_password"' not in client.get("/plans/1/builds/B1/run").text
    assert client.post(RELEASE, data={"by": "Jon"}).status_code == 403
    assert client.post(RELEASE, data={"by": "Jon", "by_password": GOOD}).status_code != 403


def test_forms_pages_and_uploads_carry_the_login(store, clock):  # noqa: F811
    """A form without a name, a page that asks who you are, a form with a file."""
    client = logged_in(store, clock, "Ada")
    page = client.get("/plans/1/builds/B1/unpack").text
    assert 'value="Ada"' in page
    assert "Log out" in page
    client.post("/plans/1/commit", data={"by": "", "hours": "24"})
    client.post("/plans/1/commit", data={"by": "Mira", "hours": "24"})
    assert [c.by for c in store.schedule.commitments()] == ["Mira, entered by Ada", "Ada"]


def test_a_form_with_a_file_carries_the_login_once(store, clock):  # noqa: F811
    """Small forms are put right before the page sees them, large ones by the page; never both."""
    ada = next(a for a in store.accounts.all() if a.name == "Ada")
    assert acting_name(ada, "Mira") == acting_name(ada, "Mira, entered by Ada") == "Mira, entered by Ada"
    assert (acting_name(ada, ""), acting_name(None, "Mira")) == ("Ada", "Mira")
    client = logged_in(store, clock, "Ada")
    picture = {"file": ("a.png", b"\x89PNG\r\n\x1a\n" + b"0" * 30, "image/png")}
    client.post("/plans/1/builds/B1/run/photo", data={"by": "Mira", "uid": "photo-0001"}, files=picture)
    assert [p.by for p in store.photos.of_build(1, "B1")] == ["Mira, entered by Ada"]


def test_on_this_machine_names_stay_as_they_are_given(store, clock):  # noqa: F811
    """Without accounts there is nobody else to take them for."""
    client = client_over(store)
    client.base_url = BASE
    client.post(RECORDS, json=found(0, "Mira"))
    assert said(store) == ["Mira"]
