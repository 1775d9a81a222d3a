"""A full disk and a read-only disk: said in words with a remedy, nothing kept is lost, and afterwards it goes on."""

from __future__ import annotations

import tempfile
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest

from cakewright.app import write_plan as writer
from cakewright.app.inbox import Inbox
from cakewright.app.keep_safe import back_up_to
from cakewright.app.learn_times import take_log
from cakewright.errors import CakewrightError, disk_trouble
from cakewright.store import open_store
from cakewright.store.backup import check_file
from tests.store.disks import SmallDisk, small_disk
from tests.store.filled import BLEND, DRUM, NOON, fill, tiny_week

WORDS = (
    "full|room|space|mend the rights|refused to read or write|larger than|No space|too large|read-only|opened|may write"
)


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    """A database with rows in every table, as bytes."""
    path = tmp_path_factory.mktemp("whole") / "cell.sqlite"
    with open_store(path) as store:
        fill(store)
    return path.read_bytes()


@pytest.fixture(params=["memory", "limits"])
def disk(request, whole):
    """A small disk with that database on it; both kinds for root, the second for everybody."""
    with tempfile.TemporaryDirectory() as work, small_disk(Path(work) / "disk") as made:
        Path(work).chmod(0o755)  # so that somebody without rights gets as far as the disk
        if request.param == "memory" and made.how != "memory":
            pytest.skip("no disk can be mounted here (not root, or no rights): the limits are tried instead")
        small = SmallDisk(made.folder, request.param)
        (made.folder / "cell.sqlite").write_bytes(whole)
        hours = "build,start,end\n1-B1,2027-03-01T06:00:00,2027-03-01T18:30:00\n"
        (Path(work) / "hours.csv").write_text(hours, encoding="utf-8")
        yield small


def open_new(disk):
    open_store(disk.folder / "new.sqlite").close()


def save(disk, store):
    store.save_plan(replace(tiny_week(), seed=2), made_by="Mira", at=NOON)


def book(disk, store):
    with store.powder.booking() as books:
        books.move(at=NOON, source=DRUM, target=BLEND, kg=1.0, who="Mira")


def take_hours(disk, store):
    take_log(disk.folder.parent / "hours.csv", store, cell=None, plan=1, by="Mira", at=NOON)


def take_mesh(disk, store):
    inbox = Inbox(disk.folder / "inbox")
    coming = inbox.begin(inbox.open_tray(), "part.stl")
    coming.write(b"solid" * 40_000)
    coming.keep()


def back_up(disk, store):
    back_up_to(store.path, disk.folder / "backups", at=NOON + timedelta(days=store.newest()))


def write(disk, store):
    writer.write_plan(replace(tiny_week(), seed=3), disk.folder, at=NOON, made_by="Mira", database="cell.sqlite")


DEEDS = (save, book, take_hours, take_mesh, back_up, write)


@pytest.fixture
def quick_papers(monkeypatch):
    """Papers are short texts: what is tried is the disk."""
    monkeypatch.setattr(writer, "PAPERS", {"traveller": lambda *_: b"paper " * 900})
    for name, made in (("heat_pictures", {}), ("handover_pdf", b""), ("report_html", ""), ("write_slips", ())):
        monkeypatch.setattr(writer, name, lambda *_, made=made, **__: made)


def refused(deed, *given):
    with pytest.raises(CakewrightError, match=WORDS) as caught:
        deed(*given)
    assert caught.value.remedy, f"{deed.__name__}: {caught.value.text}"


def test_a_full_disk(disk, quick_papers):
    """Every deed says so; afterwards the database is whole, nothing half lies about, and each deed can be done."""
    path = disk.folder / "cell.sqlite"
    with open_store(path) as store:
        levels = store.powder.levels()
        with disk.full():
            refused(open_new, disk)
            for deed in DEEDS:
                refused(deed, disk, store)
        assert [p.version for p in store.plans()] == [1]
        assert store.powder.levels() == levels
        left = {p.name for p in disk.folder.rglob("*") if ".part" in p.name or "being-written" in p.name}
        assert left == set()
        for deed in DEEDS:
            deed(disk, store)
        assert store.newest() == 3
    assert check_file(path) == 3


def test_a_read_only_disk(disk, quick_papers):
    """Opening says so, whoever asks for what; the file is as it was, and opens when it may be written again."""
    path = disk.folder / "cell.sqlite"
    before = path.read_bytes()
    with disk.locked():
        refused(open_store, path)
        refused(open_new, disk)
        refused(write, disk, None)
        refused(take_mesh, disk, None)
        with pytest.raises(CakewrightError) as caught:
            back_up_to(path, disk.folder / "backups", at=NOON)
        assert caught.value.remedy
    assert path.read_bytes() == before
    with open_store(path) as store:
        assert store.newest() == 1


def test_what_a_disk_says_is_told_in_words():
    """Errors of the operating system about full, locked and broken disks; others are not taken for one of these."""
    assert "full" in disk_trouble(OSError(28, "No space left on device", "x")).text
    assert "read-only" in disk_trouble(OSError(30, "Read-only file system")).text
    assert disk_trouble(OSError(2, "No such file")) is None


def test_a_command_says_it_in_one_line(monkeypatch, capsys):
    """A disk that is full under any command is one line and exit code 2, not a trace."""
    from cakewright.cli import main

    def full():
        raise OSError(28, "No space left on device", "plans/report.html")

    monkeypatch.setattr(main, "cli", full)
    with pytest.raises(SystemExit) as ended:
        main.run()
    assert ended.value.code == 2
    assert "plans/report.html: the disk is full -> make room" in capsys.readouterr().err
