"""Every request can be found again: one line in the log with the id that the answer carries."""

from __future__ import annotations

import io
import json
import logging

import pytest

from cakewright.app.logs import LOG, JsonLines, PlainLines


@pytest.fixture
def lines():
    """The log, as it would be written; put back afterwards."""
    out = io.StringIO()
    handler = logging.StreamHandler(out)
    before = LOG.handlers, LOG.level, LOG.propagate
    LOG.handlers, LOG.propagate = [handler], False
    LOG.setLevel(logging.INFO)
    yield handler, out
    LOG.handlers, LOG.propagate = before[0], before[2]
    LOG.setLevel(before[1])


def test_a_request_is_one_json_line_with_its_id(client, lines):
    """At, level, method, path without what was asked, status, seconds; the id is in the answer."""
    handler, out = lines
    handler.setFormatter(JsonLines())
    answer = client.get("/plans/2/lines?q=secret-customer")
    told = [json.loads(line) for line in out.getvalue().splitlines()]
    assert len(told) == 1
    assert told[0] | {"at": 0, "seconds": 0} == {
        "at": 0, "level": "info", "event": "request", "id": answer.headers["x-request-id"], "method": "GET",
        "path": "/plans/2/lines", "status": 200, "seconds": 0, "account": "",
    }  # fmt: skip
    assert "secret-customer" not in out.getvalue()


def test_the_id_of_a_proxy_is_kept_and_a_strange_one_is_not(client, lines):
    """So that one request can be followed through both logs; nothing that could forge a line."""
    handler, _ = lines
    handler.setFormatter(JsonLines())
    assert client.get("/plans", headers={"x-request-id": "proxy-12345678"}).headers["x-request-id"] == "proxy-12345678"
    assert client.get("/plans", headers={"x-request-id": "a b{}"}).headers["x-request-id"] != "a b{}"


def test_nobody_forges_a_line(lines):
    """Line ends in what was told are written as signs, in both forms."""
    handler, out = lines
    for form in (PlainLines(), JsonLines()):
        handler.setFormatter(form)
        LOG.info("request", extra={"told": {"path": "/x\n2027-03-02 error forged"}})
    assert len(out.getvalue().splitlines()) == 2


def test_a_fault_is_logged_with_its_trace_and_the_same_id(client, lines, monkeypatch):
    """What went wrong can be read; the answer says nothing of it but carries the id."""
    handler, out = lines
    handler.setFormatter(JsonLines())
    monkeypatch.setattr("cakewright.web.pages.line_views", lambda plan: 1 / 0)
    answer = client.get("/plans/2/lines")
    assert answer.status_code == 500
    assert "ZeroDivisionError" in answer.text
    fault = next(e for e in map(json.loads, out.getvalue().splitlines()) if e["event"] == "fault")
    assert "division by zero" in fault["trace"]
    assert fault["id"]
