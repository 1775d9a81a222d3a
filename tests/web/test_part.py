"""The page of one part: doubts with pictures, ways up, the report, and the rule for its revision."""

import pytest

from cakewright.store import open_store
from tests.documents.world import week
from tests.web.conftest import TUESDAY, client_over

PART = "/plans/1/lines/1/part"


@pytest.fixture
def at_desk(tmp_path):
    """A store of its own: rules are written here. The ring has a doubt with a place."""
    from dataclasses import replace

    from cakewright.findings import Finding, Severity

    plan = week()
    key = plan.part_of_line[1]
    part = plan.parts[key]
    x, y, z = (float(v) for v in part.mesh.vertices[0])
    doubt = Finding(
        "part.thin-wall", Severity.WARNING, "a wall of 0.40 mm; limit 0.8 mm", "L1", "thicken it", (x, y, z),
        0.4, 0.8, "mm",
    )  # fmt: skip
    plan = replace(plan, parts={**plan.parts, key: replace(part, findings=(doubt,))})
    with open_store(tmp_path / "cell.sqlite") as store:
        store.save_plan(plan, made_by="Mira", at=TUESDAY)
        yield client_over(store), store


def test_the_page_shows_doubts_and_how_to_get_there(at_desk):
    """A button with the place, a picture, three ways up."""
    client, _ = at_desk
    text = client.get(PART).text
    assert "a wall of 0.40 mm; limit 0.8 mm" in text and 'data-at="' in text and "Show place 1" in text
    assert "0.40 mm, at least 0.8 mm" in text
    assert text.count("<figure>") in (1, 2, 3)
    assert client.get(PART + "/points/1.png").content.startswith(b"\x89PNG")
    assert client.get(PART + "/ways/1.png").content.startswith(b"\x89PNG")
    assert client.get(PART + "/points/9.png").status_code == 422


def test_the_report_can_be_sent(at_desk):
    """PDF and one page, ending in a question."""
    client, _ = at_desk
    assert client.get(PART + "/report.pdf").content.startswith(b"%PDF")
    text = client.get(PART + "/report.html").text
    assert "Found: <b>0.40 mm, at least 0.8 mm</b>" in text
    assert "May the wall be made thicker" in text and "Questions, ready to send" in text


def test_a_rule_is_kept_with_name_and_reason(at_desk):
    """And shown; without a name it is refused."""
    client, store = at_desk
    said = {"freedom": "about z", "reason": "visible face up", "by": "Mira", "way": 1}
    assert client.post(PART + "/rule", data=said, follow_redirects=False).status_code == 303
    assert "visible face up" in client.get(PART).text
    kept = store.parts.rules()
    assert [r.by for r in kept] == ["Mira"] and kept[0].rule.freedom.value == "about z"
    assert client.post(PART + "/rule", data={**said, "by": " "}).status_code == 422
    assert client.post(PART + "/rule", data={**said, "freedom": "cone", "cone_deg": 0}).status_code == 422
    assert len(store.parts.rules()) == 1


def test_the_mesh_travels_as_numbers(at_desk):
    """Length, header, vertices, faces."""
    client, _ = at_desk
    data = client.get("/api/v1" + PART + "/mesh").content
    length = int.from_bytes(data[:4], "little")
    part = week().parts[week().part_of_line[1]]
    assert len(data) == 4 + length + 12 * len(part.mesh.vertices) + 12 * len(part.mesh.faces)


def test_another_side_may_have_to_look_good(at_desk):
    """The proposals are made again; an unknown side is refused."""
    client, _ = at_desk
    text = client.get(PART + "?visible=%2BZ&load=%2BX").text
    assert "strength along the load" in text and "ways/1.png?visible=%2BZ" in text
    assert client.get(PART + "?visible=up").status_code == 422


def test_faces_are_marked_on_the_page(at_desk):
    """Numbers on a picture, boxes to tick, kept with the name; without one it is refused, as is a face that is not."""
    client, store = at_desk
    assert "Nobody has marked any" in client.get(PART).text
    assert client.get(PART + "/faces.png").content.startswith(b"\x89PNG")
    kept = client.post(PART + "/faces", data={"face": ["1", "2"], "by": "Mira"}, follow_redirects=False)
    assert kept.status_code == 303
    text = client.get(PART).text
    assert "Marked for this revision: 1, 2" in text and text.count(" checked") == 2
    assert len(store.parts.faces()[0].places) == 2
    assert client.post(PART + "/faces", data={"face": "1", "by": " "}).status_code == 422
    assert client.post(PART + "/faces", data={"face": "99", "by": "Mira"}).status_code == 422
    client.post(PART + "/faces", data={"by": "Dev"})
    assert "No face matters more than the others" in client.get(PART).text


def test_the_interface_gives_value_limit_and_place_as_fields(at_desk):
    """Not in words only."""
    client, _ = at_desk
    (doubt,) = [f for f in client.get("/api/v1/plans/1/findings").json() if f["code"] == "part.thin-wall"]
    assert (doubt["value"], doubt["limit"], doubt["unit"], len(doubt["at_mm"])) == (0.4, 0.8, "mm", 3)
