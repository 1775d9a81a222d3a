"""The JSON interface: shapes, errors, and what it refuses."""

import gzip
import hashlib
import json
import re
import struct

import numpy as np
import pytest

from cakewright.app.section import cut_build
from cakewright.app.serve import check_address, serve
from cakewright.errors import InputError, StoreError
from cakewright.store import open_store
from cakewright.web import application
from tests.conftest import ROOT
from tests.documents.world import week
from tests.web.conftest import client_over

V = "/api/v1/plans/2"
ASK = {"cut": {"z_mm": 30}, "stop": {"layer": 10}, "identify": {"mass_g": 5}}
STATIC = application.HERE / "static"


def test_every_operation_is_described_and_answers(client):
    """Each documented address answers with JSON or the binary scene."""
    document = client.get("/api/openapi.json").json()
    fill = {"{version}": "2", "{number}": "3", "{key}": "B1", "{job}": "1", "{quote}": "1"}
    assert len(document["paths"]) >= 13
    for address, methods in document["paths"].items():
        for operation in methods.values():
            assert operation["description"], address
            assert "422" in operation["responses"]
        if "get" not in methods:
            continue
        filled = re.sub(r"\{\w+\}", lambda found: fill[found.group()], address)
        answer = client.get(filled, params=ASK.get(address.rsplit("/")[-1], {}))
        if address == "/api/v1/jobs/{job}/answer":  # its job was no question; tests/web/test_running.py asks
            assert answer.status_code == 422 and answer.json()["error"]["remedy"], filled
            continue
        assert answer.status_code == 200, filled


@pytest.mark.parametrize(
    ("address", "status", "code"),
    [
        ("/api/v1/plans/9", 404, "not-found"),
        (f"{V}/builds/B9", 404, "not-found"),
        (f"{V}/lines/99", 404, "not-found"),
        ("/api/v1/plans/two", 422, "request"),
        (f"{V}/builds/B1/cut", 422, "request"),
        (f"{V}/builds/B1/cut?z_mm=nan", 422, "request"),
        (f"{V}/morning?at=noon", 422, "input"),
        ("/api/v1/nothing", 404, "not-found"),
    ],
)
def test_one_error_shape(client, address, status, code):
    """Whatever goes wrong, the answer looks the same."""
    answer = client.get(address)
    assert answer.status_code == status
    assert set(answer.json()) == {"error"}
    error = answer.json()["error"]
    assert set(error) == {"code", "found", "remedy", "where"}
    assert error["code"] == code
    assert error["found"]


def test_wrong_method_and_fault_keep_the_shape(client, monkeypatch):
    """Also a refused method and a fault of ours answer in the one shape, without inner workings."""
    assert client.post(V).json()["error"]["code"] == "request"

    def broken(*_):
        raise RuntimeError("secret detail")

    monkeypatch.setattr("cakewright.web.api.powder_steps", broken)
    answer = client.get(f"{V}/powder")
    assert answer.status_code == 500
    assert answer.json()["error"]["code"] == "fault"
    assert "secret" not in answer.text
    assert "content-security-policy" in answer.headers


def test_lost_database_is_named(tmp_path):
    """A database that went away is answered with 503 and a remedy."""
    with open_store(tmp_path / "a.sqlite") as store:
        client = client_over(store)
        store.close()
        for path in tmp_path.glob("a.sqlite*"):
            path.write_bytes(b"not a database at all, sorry" * 100)
        answer = client.get("/api/v1/plans")
        assert answer.status_code == 503
        assert answer.json()["error"]["remedy"]


def test_headers_on_every_kind_of_answer(client):
    """Pages, files, JSON and errors carry the strict headers."""
    for address in ("/plans/2", "/static/style.css", V, "/api/v1/plans/9", "/nowhere"):
        headers = client.get(address).headers
        policy = headers["content-security-policy"]
        assert "script-src 'self'" in policy
        assert "unsafe" not in policy
        assert headers["x-content-type-options"] == "nosniff"
        assert headers["x-frame-options"] == "DENY"


def test_a_strangers_name_for_this_machine_is_refused(client):
    """A page elsewhere that points its own name at this machine gets nothing."""
    answer = client.get("/plans/2", headers={"host": "evil.example"})
    assert answer.status_code == 400
    assert "Mira" not in answer.text


def test_another_sites_page_cannot_write(client):
    """A form on a stranger's page that posts to us is refused, whatever it says; a script on this machine may."""
    word = {"piece": "L01-01", "state": "found", "by": "Eve"}
    for headers in ({"origin": "http://evil.example"}, {"origin": "null"}, {"sec-fetch-site": "cross-site"}):
        answer = client.post(f"{V}/builds/B1/records", json=word, headers=headers)
        assert (answer.status_code, answer.json()["error"]["code"]) == (403, "foreign")
    assert client.get(f"{V}/builds/B1/records").json() == []


def test_only_this_machine_is_served(tmp_path):
    """Any address others can reach is refused with the reason; so is a database that is not there."""
    for host in ("0.0.0.0", "::", "192.168.1.10", "cell.example"):
        with pytest.raises(InputError, match="no accounts"):
            check_address(host, 8765)
    for host in ("127.0.0.1", "::1", "[::1]", "localhost"):
        check_address(host, 8765)
    with pytest.raises(InputError, match="port"):
        check_address("127.0.0.1", 70000)
    with pytest.raises(StoreError, match="no database"):
        serve(tmp_path / "none.sqlite")
    assert not (tmp_path / "none.sqlite").exists()


def test_the_scene_holds_every_piece_where_it_stands(client):
    """Reading the binary answer by its own description gives back the placed corners."""
    data = client.get(f"{V}/builds/B1/scene").content
    (length,) = struct.unpack("<I", data[:4])
    header, body = json.loads(data[4 : 4 + length]), data[4 + length :]
    build = week().builds[0]
    placed = {p.piece: p for p in build.nest.placements}
    seen = set()
    for part in header["parts"]:
        vertices = np.frombuffer(body, "<f4", part["vertices"][1], part["vertices"][0]).reshape(-1, 3)
        matrices = np.frombuffer(body, "<f4", part["matrices"][1], part["matrices"][0]).reshape(-1, 4, 4)
        for (piece, line, low, high), columns in zip(part["pieces"], matrices, strict=True):
            corners = vertices @ columns.T[:3, :3].T + columns.T[:3, 3]
            assert np.allclose(corners.min(axis=0)[2], low, atol=1e-2)
            assert np.allclose(corners.max(axis=0)[2], high, atol=1e-2)
            assert placed[piece].line == line
            seen.add(piece)
    assert seen == set(placed)


def test_a_cut_through_the_plate_is_its_rectangle():
    """Halfway up a 60 x 40 mm plate the outline is 200 mm long; above it there is nothing."""
    plan = week()
    (plate,) = [c for c in cut_build(plan, plan.builds[0], 9.0) if c.piece == "L01-01"]
    assert np.linalg.norm(plate.segments[:, 1] - plate.segments[:, 0], axis=1).sum() == pytest.approx(200)
    assert all(c.line != 1 for c in cut_build(plan, plan.builds[0], 13.5))


def test_a_cut_exactly_on_a_face_is_closed():
    """At the very bottom of the plates each outline still closes: every corner is met twice."""
    plan = week()
    cuts = cut_build(plan, plan.builds[0], 5.0)
    assert {c.line for c in cuts} == {1}
    for cut in cuts:
        _, times = np.unique(cut.segments.reshape(-1, 2).round(3), axis=0, return_counts=True)
        assert (times % 2 == 0).all()


def test_vendored_files_are_what_the_list_says():
    """Each script of others is unchanged, licensed and listed."""
    text = (STATIC / "vendor" / "VENDORED.md").read_text()
    rows = re.findall(r"^\| ([\w.-]+) \| ([\d.]+) \| (\S+) \| (\S+) \| (\S+) \| (\w{64}) \|$", text, re.M)
    listed = set()
    for _name, _version, licence, licence_file, file, digest in rows:
        assert licence in {"MIT", "0BSD"}
        assert (STATIC / "vendor" / licence_file).read_text().strip()
        assert hashlib.sha256((STATIC / "vendor" / file).read_bytes()).hexdigest() == digest, file
        listed.add(file)
    there = {
        str(p.relative_to(STATIC / "vendor")) for p in (STATIC / "vendor").rglob("*") if p.suffix in {".js", ".css"}
    }
    assert there == listed


def test_scripts_stay_small(client):
    """All scripts together travel in less than a megabyte."""
    scripts = list(STATIC.rglob("*.js"))
    assert len(scripts) >= 6
    with_zip = {"accept-encoding": "gzip"}
    assert client.get("/static/viewer.js", headers=with_zip).status_code == 200
    assert client.get("/static/vendor/three/three.core.js", headers=with_zip).headers["content-encoding"] == "gzip"
    assert sum(len(gzip.compress(p.read_bytes(), 6)) for p in scripts) < 1_000_000


def test_every_address_is_on_the_page_and_none_else(client):
    """The reference page lists exactly what the program answers."""
    text = (ROOT / "docs/reference/api.md").read_text(encoding="utf-8")
    told = set(re.findall(r"^\| `([A-Z]+ /api/\S+)` \|", text, re.M))
    document = client.get("/api/openapi.json").json()
    assert told == {f"{method.upper()} {address}" for address, ways in document["paths"].items() for method in ways}


def test_a_new_database_is_asked_for(tmp_path):
    """An empty database is only made when asked for, and never in place of one that is there."""
    path = tmp_path / "there.sqlite"
    path.write_bytes(b"")
    with pytest.raises(StoreError, match="already"):
        serve(path, is_new=True)
