"""What goes into the store comes out the same."""

from dataclasses import fields, replace

import numpy as np
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import text

from cakewright.model.build import Build, Cooling, LayerProfile, Nest, Placement, PowderNeed, PrintTime, Verification
from cakewright.model.cell import Cell
from cakewright.model.heat import CakeHeat, PieceHeat, PowderDose
from cakewright.model.order import OrderLine, OrderList
from cakewright.model.part import FileOrigin, Measures, Part
from cakewright.model.plan import LineCost, LinePromise, Schedule, SetAside, Task, WeekPlan
from cakewright.store.plain import from_json, to_json
from cakewright.store.write import rows_of
from tests.documents.world import week
from tests.store.conftest import NOON, behind
from tests.store.same import difference

WORDS = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0"), max_size=40)  # see test_server
FINITE = st.floats(allow_nan=False, allow_infinity=False)


def saved(store, plan):
    version = store.save_plan(plan, made_by="Mira", at=NOON)
    return version, store.load_plan(version)


def test_a_week_comes_back_as_it_was(store, full_week):
    """Every field of a plan, meshes and layer arrays included, survives."""
    version, back = saved(store, full_week)
    assert difference(replace(full_week, version=version, made_by="Mira"), back) is None


def test_the_comparison_itself_notices(full_week):
    """One metre-thousandth in one vertex is a difference."""
    ball = full_week.parts["ball"]
    moved = replace(ball, mesh=replace(ball.mesh, vertices=ball.mesh.vertices + 0.001))
    assert "vertices" in difference(full_week, replace(full_week, parts={**full_week.parts, "ball": moved}))


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(kg=st.lists(FINITE, min_size=9, max_size=9), reason=WORDS, curve=st.lists(FINITE, max_size=9))
def test_any_number_and_any_word_survives(store, kg, reason, curve):
    """Subnormal, huge and negative numbers and any text come back bit for bit."""
    plan = week()
    line = np.array(curve, dtype=float)
    cooling = replace(plan.builds[0].cooling, curve_s=line, core_c=line, skin_c=line, mean_c=line)
    build = replace(plan.builds[0], powder=PowderNeed(*kg, refresh_reason=reason), cooling=cooling, reason=reason)
    plan = replace(plan, builds=(build, *plan.builds[1:]))
    _, back = saved(store, plan)
    assert difference(plan.builds, back.builds) is None


def test_numpy_numbers_are_kept_as_numbers(store):
    """A count from numpy is not kept as eight loose bytes."""
    plan = week()
    nest = replace(plan.builds[0].nest, seed=np.int64(7), density=np.float64(0.08))
    plan = replace(plan, builds=(replace(plan.builds[0], nest=nest), *plan.builds[1:]))
    _, back = saved(store, plan)
    assert (back.builds[0].nest.seed, back.builds[0].nest.density) == (7, 0.08)


def test_plans_are_versions(store):
    """Saving again adds a version; the first is still what it was."""
    first, one = saved(store, week())
    second, _ = saved(store, replace(week(), seed=99))
    assert (first, second) == (1, 2)
    assert difference(one, store.load_plan(1)) is None
    assert store.load_plan().seed == 99


def test_the_list_of_plans_counts(store):
    """The list tells lines, builds, pieces, late lines and lines set aside, newest first."""
    saved(store, week())
    saved(store, week())
    newest, oldest = store.plans()
    assert (newest.version, oldest.version, store.newest()) == (2, 1, 2)
    assert (newest.lines, newest.builds, newest.set_aside) == (7, 2, 1)
    assert newest.pieces == sum(b.pieces for b in week().builds)
    assert newest.late == len(week().late) > 0
    assert (newest.made_by, newest.made_at, newest.cell) == ("Mira", NOON, "Test cell")


def test_a_geometry_is_kept_once(store):
    """Two plans over the same parts share their meshes and the cell."""
    saved(store, week())
    saved(store, week())
    with behind(store) as link:
        assert link.scalar(text("SELECT count(*) FROM mesh")) == len({p.mesh.sha256 for p in week().parts.values()})
        assert link.scalar(text("SELECT count(*) FROM cell")) == 1
        late = "SELECT line FROM promise WHERE plan = 2 AND ready > due_by ORDER BY line"
        assert [row[0] for row in link.execute(text(late))] == [p.line for p in week().late]


def test_a_cell_survives_as_text():
    """The cell kept beside a plan is the cell."""
    assert from_json(Cell, to_json(week().cell)) == week().cell


def test_no_field_of_the_model_is_without_a_place(full_week):
    """A field added to the model must be written, or this test names it."""
    rows = rows_of(full_week)
    made_of = {
        "powder_need": [PowderNeed], "promise": [LinePromise], "cost": [LineCost], "set_aside": [SetAside],
        "part": [Part, Measures, FileOrigin], "order_line": [OrderLine], "placement": [Placement], "task": [Task],
        "verification": [Verification], "build": [Build, Nest, PrintTime],
    }  # fmt: skip
    elsewhere = {
        "mesh", "measures", "origin", "orientation", "findings", "size_mm", "sha256",  # part
        "order", "where", "nominal_size_mm", "rotation", "translation", "lines", "people", "start", "end",
        "tightest", "violations", "outside", "placements", "left_out", "base_mm", "seed", "seconds", "notes", "layer_s",
        "nest", "verification", "removal", "profile", "print_time", "cooling", "powder", "line_reasons",
        "heat",
    }  # fmt: skip
    for table, kinds in made_of.items():
        columns = set(rows[table][0])
        lost = {f.name for kind in kinds for f in fields(kind)} - columns - elsewhere
        assert lost == set(), f"{table} does not keep {lost}"
    heat = {CakeHeat: 14, PieceHeat: 6, PowderDose: 5}
    whole = {WeekPlan: 15, Schedule: 5, OrderList: 3, Cooling: 8, LayerProfile: 4, **heat}
    assert {kind: len(fields(kind)) for kind in whole} == whole, "teach store/write.py and store/read.py the new field"
