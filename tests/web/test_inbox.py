"""Files dropped on the page become a plan: looked at one by one, planned by a worker, seen while it goes on."""

import json
import time

import numpy as np
import pytest
import trimesh

from cakewright.app.inbox import Inbox
from cakewright.app.jobs import JobDesk
from cakewright.formats.cell_toml import cell_template, read_cell
from cakewright.store import JobState, open_store
from tests.web.conftest import TUESDAY, client_over, week

ORDER = "line,part,qty,material,finish,class,due,file\n1,block,2,{material},{finish},{quality},2027-03-12,block.stl\n"
CELL = cell_template().encode()


def mesh_bytes(size=(20.0, 12.0, 8.0)):
    return trimesh.creation.box(np.array(size)).export(file_type="stl")


@pytest.fixture
def database(tmp_path):
    path = tmp_path / "cell.sqlite"
    with open_store(path) as store:
        store.save_plan(week(), made_by="Mira", at=TUESDAY)
    return path


@pytest.fixture
def client(database):
    with open_store(database) as store, client_over(store) as client:
        yield client


@pytest.fixture
def tray(client):
    answer = client.post("/inbox", follow_redirects=False)
    assert answer.status_code == 303
    client.put(f"{answer.headers['location']}/files/cell.toml", content=CELL)
    return answer.headers["location"]


@pytest.fixture(scope="module")
def order_list(tmp_path_factory):
    """One line that the cell of the template can make."""
    path = tmp_path_factory.mktemp("cell") / "cell.toml"
    path.write_bytes(CELL)
    cell = read_cell(path)
    return ORDER.format(
        material=cell.materials[0].name, finish=cell.finishes[0].name, quality=cell.classes[0].name
    ).encode()


def test_a_file_is_looked_at_when_it_arrives(client, tray):
    """The list drawn again says what was found; a wrong file is named with its fault, and stays out or is refused."""
    good = client.put(f"{tray}/files/block.stl", content=mesh_bytes())
    assert good.status_code == 200
    assert "20.0 × 12.0 × 8.0 mm" in good.text
    bad = client.put(f"{tray}/files/noise.stl", content=b"solid nothing at all")
    assert "cannot be used" in bad.text
    page = client.get(tray).text
    assert "block.stl" in page
    assert "noise.stl" in page


@pytest.mark.parametrize(
    "name", ["..%2Fx.stl", "x.exe", ".hidden.stl", "a%00.stl", "%2Fetc%2Fx.stl", "x" * 200 + ".stl"]
)
def test_names_cannot_leave_the_tray(client, tray, name, database):
    """A name with a path, a foreign ending or a hidden file is refused and writes nothing."""
    before = sorted(database.parent.rglob("*"))
    answer = client.put(f"{tray}/files/{name}", content=mesh_bytes())
    assert answer.status_code in (404, 422)
    assert sorted(database.parent.rglob("*")) == before


def test_what_is_wrong_with_the_list_is_said_at_once(client, tray, order_list):
    """A list with a fault shows file, row and remedy on the page; files it names and nobody sent are listed."""
    client.put(f"{tray}/files/list.csv", content=b"line,part\n1,block\n")
    assert "qty" in client.get(tray).text
    client.put(f"{tray}/files/list.csv", content=order_list)
    assert "Mesh files still missing: block.stl" in client.get(tray).text


def test_an_empty_file_is_refused(client, tray):
    """Nothing of it stays."""
    answer = client.put(f"{tray}/files/block.stl", content=b"")
    assert answer.status_code == 422
    assert "is empty" in answer.text
    assert "block.stl" not in client.get(tray).text


def test_from_files_to_a_plan(client, tray, database, order_list):
    """List and mesh go in, a job runs in its own process, its events end with the new plan that the page leads to."""
    client.put(f"{tray}/files/list.csv", content=order_list)
    client.put(f"{tray}/files/block.stl", content=mesh_bytes())
    asked = client.post(f"{tray}/plan", data={"by": "Mira", "seconds": "0"}, follow_redirects=False)
    assert asked.status_code == 303, asked.text
    events = client.get(asked.headers["location"] + "/events").text
    told = [json.loads(row[6:]) for row in events.splitlines() if row.startswith("data: ")]
    assert told[-1]["state"] == "done", told[-1]["found"]
    assert told[-1]["plan"] == 2
    assert len(told) > 1
    assert (database.parent / "plan-002" / "report.html").is_file()
    assert "Open plan 2" in client.get(asked.headers["location"]).text
    assert client.get("/plans/2/lines").status_code == 200


def test_a_job_is_stopped(client, tray, database, order_list):
    """Stopping ends the process, leaves no half plan behind, and the files can be planned again."""
    client.put(f"{tray}/files/list.csv", content=order_list)
    client.put(f"{tray}/files/block.stl", content=mesh_bytes())
    asked = client.post(f"{tray}/plan", data={"seconds": "600"}, follow_redirects=False).headers["location"]
    client.post(f"{asked}/cancel")
    number = int(asked.rsplit("/", 1)[1])
    assert client.get(f"/api/v1/jobs/{number}").json()["state"] == "cancelled"
    deadline = time.monotonic() + 30
    while client.app.state.desk._workers and time.monotonic() < deadline:
        time.sleep(0.05)
    assert not client.app.state.desk._workers
    assert [p.version for p in client.app.state.shelf.store.plans()] == [1]
    assert list(database.parent.glob("plan-*")) == []
    assert client.post(f"{asked}/again", follow_redirects=False).headers["location"] == tray


def test_a_restart_marks_what_was_under_way(database):
    """What ran when the power went is marked as interrupted; half-written folders are swept up."""
    with open_store(database) as store:
        number = store.add_job(kind="plan a week", by="", folder="", at=TUESDAY)
        (database.parent / ".plan-being-written-x").mkdir()
        assert JobDesk(store, lambda: TUESDAY).recover() == 1
        assert store.job(number).state is JobState.INTERRUPTED
        assert not (database.parent / ".plan-being-written-x").exists()


def test_a_tray_begins_with_the_files_of_another(tmp_path):
    """The files are shared, not lost: taking one out of the new tray leaves the old one whole."""
    box = Inbox(tmp_path)
    old = box.open_tray()
    incoming = box.begin(old, "a.stl")
    incoming.write(mesh_bytes())
    incoming.keep()
    new = box.open_tray(like=old)
    box.remove(new, "a.stl")
    assert [f.name for f in box.files(old)] == ["a.stl"]
    assert box.files(new) == ()
