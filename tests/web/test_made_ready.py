"""A server that has started has nothing left to prepare for the first page."""

import shutil

import pytest
from pydantic import TypeAdapter

from cakewright.store import open_store
from cakewright.web import sentence_book, speech
from cakewright.web.look import ENVIRONMENT
from cakewright.web.routes import routes
from tests.web.conftest import client_over


@pytest.fixture
def server(database, tmp_path):
    """A server over a database of its own, not started yet, in a process that had none."""
    routes.cache_clear()
    with open_store(shutil.copy(database, tmp_path)) as store:
        yield client_over(store)


def test_languages_are_read_before_anybody_asks(server):
    """Every catalogue and the sentences of the program are in memory when the server has started."""
    for kept in (speech.catalogue, speech._read, sentence_book.sentences, sentence_book._index):
        kept.cache_clear()
    with server:
        assert speech.catalogue.cache_info().currsize == len(speech.languages())
        assert speech._read.cache_info().currsize > len(speech.languages())
        assert sentence_book._index.cache_info().currsize == 1


def test_routes_are_built_before_anybody_asks(server, monkeypatch):
    """The values that routes take are described at the start (hundreds of them), none of them at the first request."""
    made, init = [], TypeAdapter.__init__

    def counted(self, *args, **more):
        made.append(args)
        init(self, *args, **more)

    monkeypatch.setattr(TypeAdapter, "__init__", counted)
    with server:
        assert len(made) > 500
        made.clear()
        assert server.get("/").status_code == 200
        assert made == []


def test_a_second_application_has_the_routes_of_the_first(server, tmp_path):
    """They are the same objects, asked about another store: each application shows its own plans."""
    assert server.get("/plans/2").status_code == 200
    with open_store(tmp_path / "empty.sqlite") as store:
        other = client_over(store)
        assert {id(route) for route in routes()} <= {id(route) for route in other.app.routes}
        assert {id(route) for route in routes()} <= {id(route) for route in server.app.routes}
        assert other.get("/plans/2").status_code == 404
    assert server.get("/plans/2").status_code == 200


def test_the_first_page_is_compiled_before_anybody_asks(server):
    """No template is read for the first page that the start had not read."""
    ENVIRONMENT.cache.clear()
    with server:
        had = set(ENVIRONMENT.cache.keys())
        assert server.get("/").status_code == 200
        assert set(ENVIRONMENT.cache.keys()) == had
        assert server.get("/plans/2/calendar").status_code == 200
        assert set(ENVIRONMENT.cache.keys()) > had
