"""Nobody in who does not belong: logins, roles, waiting after wrong tries, a record that shows when it was altered."""

from datetime import timedelta

import pytest
from sqlalchemy import select, text
from sqlalchemy.exc import IntegrityError

from cakewright.app.accounts import add_account, make_token
from cakewright.app.serve import Door, check_address
from cakewright.errors import InputError, StoreError
from cakewright.store import open_store
from cakewright.store.accounts import Role
from cakewright.store.engine import reading
from cakewright.store.schema_accounts import session
from cakewright.web.application import create_app
from tests.store.conftest import behind
from tests.web.conftest import BASE, TUESDAY, week
from tests.web.quick_passwords import quick_passwords  # noqa: F401  (for every test here)

GOOD = "correct horse battery staple"


class Clock:
    def __init__(self):
        self.now = TUESDAY

    def __call__(self):
        return self.now


@pytest.fixture
def clock():
    return Clock()


@pytest.fixture
def store(new_database):
    with open_store(new_database) as store:
        store.save_plan(week(), made_by="Mira", at=TUESDAY)
        for name, role in (("Ada", Role.PLANNER), ("Jon", Role.OPERATOR), ("Sam", Role.SALES), ("Rob", Role.READER)):
            add_account(store, name, role, GOOD, at=TUESDAY)
        yield store


def browser(store, clock):
    import warnings

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        from starlette.testclient import TestClient

        return TestClient(create_app(store, clock=clock, asks=True), base_url=BASE, follow_redirects=False)


def logged_in(store, clock, name):
    client = browser(store, clock)
    answer = client.post("/login", data={"name": name, "password": GOOD})
    assert answer.status_code == 303
    cookie = answer.headers["set-cookie"].casefold()
    assert "httponly" in cookie
    assert "samesite=strict" in cookie
    return client


def test_strangers_see_the_login_and_nothing_else(store, clock):
    """Pages lead to the login, the interface answers 401, a forged cookie opens nothing."""
    client = browser(store, clock)
    assert client.get("/plans/1").headers["location"] == "/login?to=/plans/1"
    assert client.get("/api/v1/plans").status_code == 401
    assert client.post("/quotes").status_code == 401
    assert client.get("/login").status_code == 200
    client.cookies.set("cakewright", "forged")
    assert client.get("/api/v1/plans").status_code == 401


def test_each_role_may_what_it_may(store, clock):
    """Everybody looks; the operator records, sales quotes, a reader changes nothing, a planner everything."""
    record = ("/api/v1/plans/1/builds/B1/records", {"piece": week().builds[0].nest.placements[0].piece,
                                                    "state": "found", "by": "x"})  # fmt: skip
    expected = {"Ada": 201, "Jon": 201, "Sam": 403, "Rob": 403}
    for name, status in expected.items():
        client = logged_in(store, clock, name)
        assert client.get("/plans/1").status_code == 200
        assert client.post(record[0], json=record[1]).status_code == status, name
    assert logged_in(store, clock, "Jon").post("/inbox").status_code == 403
    assert logged_in(store, clock, "Sam").post("/quotes/9/answer", data={"said": "accepted"}).status_code == 404


def test_sessions_end(store, clock):
    """By logging out, after the shift, when the account is closed, when the password is changed."""
    client = logged_in(store, clock, "Ada")
    client.post("/logout")
    assert client.get("/api/v1/plans").status_code == 401
    client = logged_in(store, clock, "Ada")
    clock.now += timedelta(hours=13)
    assert client.get("/api/v1/plans").status_code == 401
    client = logged_in(store, clock, "Jon")
    store.accounts.change("Jon", is_open=False)
    assert client.get("/api/v1/plans").status_code == 401
    assert client.post("/login", data={"name": "Jon", "password": GOOD}).status_code == 401


def test_after_wrong_tries_a_name_has_to_wait(store, clock):
    """Five wrong passwords: even the right one waits a quarter of an hour. An unknown name is answered alike."""
    client = browser(store, clock)
    for _ in range(5):
        assert client.post("/login", data={"name": "Ada", "password": "wrong"}).status_code == 401
    assert "too many wrong tries" in client.post("/login", data={"name": "Ada", "password": GOOD}).text
    unknown = client.post("/login", data={"name": "Nobody", "password": "wrong"})
    assert "do not belong together" in unknown.text
    clock.now += timedelta(minutes=16)
    assert client.post("/login", data={"name": "Ada", "password": GOOD}).status_code == 303


def test_the_login_leads_nowhere_else(store, clock):
    """An address of another site after ?to= is not followed."""
    client = browser(store, clock)
    for to in ("//evil.example", "https://evil.example", "/\\evil.example"):
        answer = client.post("/login", data={"name": "Ada", "password": GOOD, "to": to})
        assert answer.headers["location"] == "/"


def test_scripts_bring_a_token(store, clock):
    """Good for the interface; only its digest is in the database."""
    token = make_token(store, "Ada", now=TUESDAY)
    client = browser(store, clock)
    assert client.get("/api/v1/plans", headers={"authorization": f"Bearer {token}"}).status_code == 200
    if store.is_on_server:
        with reading(store._engine) as link:
            kept = link.execute(select(session.c.digest)).scalars().all()
        assert kept and token not in kept
    else:
        assert token.encode() not in store.path.read_bytes()


def test_passwords_are_long_and_kept_as_argon2(store):
    """Length is the rule; what is kept is an argon2id hash (RFC 9106)."""
    with pytest.raises(InputError, match="14 characters"):
        add_account(store, "New", Role.READER, "a" * 14, at=TUESDAY)
    assert all(a.password.startswith("$argon2id$") for a in store.accounts.all())


def test_every_change_is_on_record_and_the_record_cannot_be_altered(store, clock):
    """Who, what, outcome; the database refuses changes, and what is changed behind its back is found."""
    client = logged_in(store, clock, "Rob")
    client.post("/inbox")
    newest = store.accounts.changes(1)[0]
    assert (newest.account, newest.deed, newest.outcome) in {
        ("Rob", "POST /inbox", 403),
        ("this machine", "POST /login", 303),
    }
    count, _ = store.accounts.verify_changes()
    assert count >= 1
    with behind(store) as link, pytest.raises(IntegrityError, match="written once"):
        link.execute(text("UPDATE audit SET account = 'Sam'"))
    with behind(store) as link:
        link.execute(text("DROP TRIGGER audit_no_update" + (" ON audit" if store.is_on_server else "")))
        link.execute(text("UPDATE audit SET account = 'Sam' WHERE number = 1"))
    with pytest.raises(StoreError, match="row 1 of the record of changes was altered"):
        store.accounts.verify_changes()


def test_others_are_let_in_only_with_accounts_and_tls(store, tmp_path):
    """No accounts, no TLS, a certificate that is not there: refused with the remedy."""
    with pytest.raises(InputError, match="no accounts"):
        check_address("0.0.0.0", 8765)
    with pytest.raises(InputError, match="in the clear"):
        check_address("0.0.0.0", 8765, Door(), store)
    with pytest.raises(InputError, match="no file"):
        check_address("0.0.0.0", 8765, Door(tmp_path / "c.pem", tmp_path / "k.pem"), store)
    assert check_address("0.0.0.0", 8765, Door(is_behind_tls=True), store)
    assert not check_address("127.0.0.1", 8765)
