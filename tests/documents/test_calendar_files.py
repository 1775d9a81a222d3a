"""Calendars read back by an independent reader of RFC 5545, strict about what programs stumble over."""

import re
from datetime import UTC, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cakewright.documents.calendar_files import calendar_files, fold, machine_calendar, person_calendar
from cakewright.model.plan import TaskKind
from tests.documents.world import week

STAMP = datetime(2027, 2, 28, 9, 30, tzinfo=UTC)


def read_calendar(raw: bytes) -> list[dict[str, str]]:
    """Events of a calendar; AssertionError on anything that RFC 5545 does not allow. Shares no code with the writer."""
    assert raw.endswith(b"\r\n") and b"\r" not in raw.replace(b"\r\n", b"") and b"\n" not in raw.replace(b"\r\n", b"")
    assert all(len(line) <= 75 for line in raw.split(b"\r\n"))  # 3.1: octets, not characters
    for line in raw.split(b"\r\n"):
        line.decode("utf-8")  # no character is cut by folding
    lines = re.sub(r"\r\n[ \t]", "", raw.decode("utf-8")).split("\r\n")[:-1]
    assert lines[0] == "BEGIN:VCALENDAR" and lines[-1] == "END:VCALENDAR"
    assert lines.count("VERSION:2.0") == 1 and sum(x.startswith("PRODID:") for x in lines) == 1
    events: list[dict[str, str]] = []
    inside: dict[str, str] | None = None
    for line in lines[1:-1]:
        name, colon, value = line.partition(":")
        assert colon and re.fullmatch(r"[A-Z-]+", name), line
        if line == "BEGIN:VEVENT":
            assert inside is None
            inside = {}
        elif line == "END:VEVENT":
            assert inside is not None
            events.append(inside)
            inside = None
        elif inside is not None:
            assert name not in inside, f"{name} twice"
            inside[name] = unescape(value)
    assert inside is None
    for event in events:
        assert {"UID", "DTSTAMP", "DTSTART", "DTEND", "SUMMARY"} <= event.keys()
        assert instant(event["DTEND"]) > instant(event["DTSTART"])
    assert len({e["UID"] for e in events}) == len(events)
    return events


def unescape(value: str) -> str:
    out, at = [], 0
    while at < len(value):
        if value[at] == "\\":
            assert value[at + 1] in "\\;,nN", value
            out.append("\n" if value[at + 1] in "nN" else value[at + 1])
            at += 2
        else:
            out.append(value[at])
            at += 1
    return "".join(out)


def instant(text: str) -> datetime:
    assert re.fullmatch(r"\d{8}T\d{6}Z", text)
    return datetime.strptime(text, "%Y%m%dT%H%M%SZ").replace(tzinfo=UTC)


@pytest.fixture(scope="module")
def plan():
    return week()


def test_every_task_of_a_person_is_an_event(plan):
    """Same starts, same ends, in UTC, with the work named."""
    for person in plan.cell.people:
        events = read_calendar(person_calendar(plan, person.name, stamp=STAMP))
        tasks = [t for t in plan.schedule.tasks if person.name in t.people]
        spans = sorted((t.start, t.end) for t in tasks)
        assert sorted((instant(e["DTSTART"]), instant(e["DTEND"])) for e in events) == spans
        assert {e["DTSTAMP"] for e in events} <= {"20270228T093000Z"}


def test_a_machine_shows_prints_and_who_must_come(plan):
    """Prints block nobody's time; loading does."""
    machine = plan.cell.machines[0].name
    events = read_calendar(machine_calendar(plan, machine, stamp=STAMP))
    prints = [t for t in plan.schedule.tasks if t.kind is TaskKind.PRINT and t.machine == machine]
    shown = [e for e in events if e["TRANSP"] == "TRANSPARENT"]
    assert sorted(instant(e["DTSTART"]) for e in shown) == sorted(t.start for t in prints)


def test_work_keeps_its_uid_through_plan_versions(plan):
    """A newer version moves the event that an older one brought, and says so with a higher sequence."""
    from dataclasses import replace

    name = plan.cell.people[0].name
    old = read_calendar(person_calendar(plan, name, stamp=STAMP))
    new = read_calendar(person_calendar(replace(plan, version=plan.version + 1), name, stamp=STAMP))
    assert [e["UID"] for e in old] == [e["UID"] for e in new]
    assert int(new[0]["SEQUENCE"]) == int(old[0]["SEQUENCE"]) + 1


def test_a_file_for_each_person_and_machine(plan):
    """With names that every file system takes."""
    files = calendar_files(plan, stamp=STAMP)
    assert len(files) == len(plan.cell.people) + len(plan.cell.machines)
    assert all(re.fullmatch(r"(person|machine)-[a-z0-9_-]+\.ics", name) for name in files)


@given(st.text(max_size=300).map(lambda s: re.sub(r"[\r\n]", "", s)))
def test_folding_is_undone_by_unfolding(text):
    """Any text, any script: at most 75 octets a line and the same text again."""
    line = f"SUMMARY:{text}"
    raw = fold(line)
    assert all(len(x.encode()) <= 75 for x in raw.split("\r\n"))
    assert raw.removesuffix("\r\n").replace("\r\n ", "") == line


def test_nasty_names_survive(plan):
    """Separators, line breaks and angle brackets in a label come back as they were."""
    from dataclasses import replace

    label = 'dye; "black", 2\\3 \nsecond line <b>ü</b> ' + "ø" * 80
    person = plan.cell.people[0].name
    task = next(t for t in plan.schedule.tasks if person in t.people)
    tasks = tuple(replace(t, label=label) if t is task else t for t in plan.schedule.tasks)
    changed = replace(plan, schedule=replace(plan.schedule, tasks=tasks))
    events = read_calendar(person_calendar(changed, person, stamp=STAMP))
    assert any(e["SUMMARY"].endswith(label) for e in events)
