"""What is known about part revisions reaches the next plan: rules, renamed files, changed shapes."""

from dataclasses import replace
from datetime import UTC, datetime

import pytest

from cakewright.app.intake import read_part
from cakewright.app.look_alikes import look_alike_findings
from cakewright.app.part_records import records_in, revision_findings
from cakewright.errors import InputError
from cakewright.formats.stl import stl_bytes
from cakewright.model.mesh import Mesh
from cakewright.model.part import Freedom, OrientationRule
from cakewright.store import open_store
from tests.conftest import box_mesh
from tests.documents.world import week

NOON = datetime(2027, 3, 1, 12, 0, tzinfo=UTC)


@pytest.fixture
def store(new_database):
    with open_store(new_database) as found:
        found.save_plan(week(), made_by="Mira", at=NOON)
        yield found


def test_the_newest_rule_of_a_revision_counts_and_names_its_author(store):
    """Two rules, the second one wins; both stay in the book."""
    for freedom, why in ((Freedom.FREE, "no reason yet"), (Freedom.ABOUT_Z, "visible face up")):
        rule = OrientationRule(freedom, why, up=(0.0, 1.0, 0.0))
        store.parts.add_rule(name="Ring", revision="B", rule=rule, by="Mira", at=NOON)
    found = records_in(store).rule_for("ring ", "b")
    assert found == OrientationRule(Freedom.ABOUT_Z, "visible face up (Mira, 2027-03-01)", up=(0.0, 1.0, 0.0))
    assert records_in(store).rule_for("ring", "C") is None
    assert len(store.parts.rules()) == 2


def test_a_rule_needs_a_name_and_a_reason(store):
    """Nobody knows later why, otherwise."""
    with pytest.raises(InputError, match="nobody"):
        store.parts.add_rule(name="Ring", revision="B", rule=OrientationRule(), by=" ", at=NOON)
    with pytest.raises(InputError, match="reason"):
        store.parts.add_rule(name="Ring", revision="B", rule=OrientationRule(reason=" "), by="Mira", at=NOON)


def test_known_shapes_are_found_again_under_other_names(store):
    """And another shape under a known name is a warning."""
    records = records_in(store)
    part = next(iter(week().parts.values()))
    renamed = replace(part, name="something else", origin=replace(part.origin, sha256="0" * 64))
    assert [f.code for f in revision_findings(renamed, records, "L1")] == ["part.other-name-same-shape"]
    changed = replace(part, mesh=box_mesh(7, 8, 9), origin=replace(part.origin, sha256="0" * 64))
    assert [f.code for f in revision_findings(changed, records, "L1")] == ["part.same-name-other-shape"]
    assert "Mira" in revision_findings(changed, records, "L1")[0].message


def test_signatures_are_computed_once(store):
    """The second look reads them."""
    records_in(store)
    kept = store.parts.signatures(2)
    assert len(kept) == len({p.mesh.sha256 for p in week().parts.values()})


def test_the_rule_is_used_at_intake_and_the_flags_of_the_line_win(store, tmp_path):
    """A rule about the revision, unless the order line says more."""
    plan = week()
    line = replace(plan.orders.lines[0], part="bar", revision="A", flags=(), nominal_size_mm=None)
    file = tmp_path / "bar.stl"
    file.write_bytes(stl_bytes(box_mesh(20, 10, 8), "bar"))
    store.parts.add_rule(name="bar", revision="A", rule=OrientationRule(Freedom.FIXED, "as drawn"), by="Mira", at=NOON)
    records = records_in(store)
    assert read_part(line, plan.cell, file, records).orientation.freedom is Freedom.FIXED
    upright = replace(line, flags=("keep upright",))
    assert read_part(upright, plan.cell, file, records).orientation.freedom is Freedom.ABOUT_Z


def test_the_number_of_marks_is_told():
    """Three equal parts under three names need three marks; a fourth that nobody confuses needs none."""
    plan = week()
    part = next(iter(plan.parts.values()))
    shapes = {
        "L01": box_mesh(20, 10, 5),
        "L02": box_mesh(20, 10, 5),
        "L03": box_mesh(5, 20, 10),
        "L04": box_mesh(9, 9, 9),
    }
    parts = {key: replace(part, key=key, mesh=Mesh(m.vertices, m.faces)) for key, m in shapes.items()}
    lines = {key: replace(plan.orders.lines[0], line=n) for n, key in enumerate(shapes, start=1)}
    found = [f for f in look_alike_findings(parts, lines) if f.code == "identity.marks"]
    assert found[0].message.startswith("3 different marks")
