"""A small invented week: two builds, six lines in them, one set aside, one late, one stuck pair.

Names are chosen to hurt: quotes, typst and spreadsheet signs, umlauts, angle brackets.
"""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from functools import cache

import numpy as np
import trimesh

from cakewright.findings import Finding, Severity
from cakewright.model.build import (
    Build,
    Cooling,
    LayerProfile,
    LeftOut,
    Nest,
    PairGap,
    Placement,
    PowderNeed,
    PrintTime,
    Removal,
    Verification,
)
from cakewright.model.cell import (
    Cell,
    Chamber,
    ChamberType,
    FailureHistory,
    Finish,
    FinishStep,
    Machine,
    Material,
    NestingRules,
    Person,
    QualityClass,
    Rates,
    Shift,
    Station,
)
from cakewright.model.mesh import Mesh
from cakewright.model.order import OrderLine, OrderList
from cakewright.model.part import FileOrigin, Measures, Part
from cakewright.model.plan import LineCost, LinePromise, Schedule, SetAside, Task, TaskKind, WeekPlan
from cakewright.units import LengthUnit

START = datetime(2027, 3, 1, 6, 0, tzinfo=UTC)
NASTY = 'bracket #3 "$x$" *bold* <b>ü</b> \\ @ref'


def cell() -> Cell:
    shift = Shift((0, 1, 2, 3, 4), time(8), time(16, 30), ((time(12), time(12, 30)),))
    early = Shift((0, 1, 2, 3, 4), time(6, 30), time(12))
    return Cell(
        name="Test cell",
        timezone="Europe/Oslo",
        room_c=22,
        materials=(Material("PA12", 0.95, 0.47, 170, 50, 0.1, 2400, 65, 40, 31, 0.04, 0.8),),
        chamber_types=(ChamberType("small", 190, 240, 320, 6, 6, 4, 8, 45),),
        chambers=(Chamber("K1", "small", "PA12"), Chamber("K2", "small", "PA12")),
        machines=(
            Machine("A1", "PA12", "small", 0.1, 90, 10, 9, 0.25, 4000, 800, 0.02, 20, 30, 20, 60, 9.0, 0.15, 1.0),
        ),
        stations=(Station("bench", "unpack"), Station("cabinet", "blast"), Station("pot", "dye", (), 12)),
        people=(
            Person("Mira", ("load", "unpack", "finish", "inspect"), (shift,)),
            Person("Dev", ("load",), (early,)),
        ),
        finishes=(
            Finish("raw", ()),
            Finish("blasted", (FinishStep("blast", 10, 10),)),
            Finish("dyed black", (FinishStep("blast", 10, 10), FinishStep("dye", 90, 20, wait_min=240))),
        ),
        classes=(QualityClass("draft", 0.3, 1, 5), QualityClass("standard", 0.4, 2, 20)),
        rates=Rates("cu", 48, 12, 45, 40, 6, 8),
        nesting=NestingRules(5, 1, 10),
        failures=FailureHistory(3, 60),
        source="test.toml",
    )


def _mesh(shape: trimesh.Trimesh) -> Mesh:
    return Mesh(np.asarray(shape.vertices), np.asarray(shape.faces))


def meshes() -> dict[str, Mesh]:
    plate = trimesh.creation.box((60, 40, 8))
    plate.apply_translation((30, 20, 4))
    knob = trimesh.creation.cylinder(radius=14, height=19, sections=48)
    duct = trimesh.creation.annulus(r_min=16, r_max=20, height=110, sections=64)
    ring = trimesh.creation.torus(major_radius=18, minor_radius=4)
    clip = trimesh.creation.box((6, 4, 22))
    ball = trimesh.creation.icosphere(subdivisions=3, radius=17)
    shapes = {"plate": plate, "knob": knob, "duct": duct, "ring": ring, "clip": clip, "ball": ball}
    return {name: _mesh(shape) for name, shape in shapes.items()}


def _volume(mesh: Mesh) -> float:
    return float(trimesh.Trimesh(mesh.vertices, mesh.faces, process=False).volume)


def parts() -> dict[str, Part]:
    return {
        name: Part(
            key=name,
            name=name,
            revision="A",
            mesh=mesh,
            measures=Measures(_volume(mesh), 800.0, tuple(mesh.size_mm), len(mesh.faces), 1, True, True),
            origin=FileOrigin(f"{name}.stl", mesh.sha256, "stl", LengthUnit.MILLIMETER, "sizes fit the order list"),
            is_delicate=name == "clip",
        )
        for name, mesh in meshes().items()
    }


def lines() -> tuple[OrderLine, ...]:
    rows = [
        (1, "bracket-1", NASTY, "B", 4, "plate", "blasted", 3),
        (2, "knobs", "knob 28 mm", "A", 6, "knob", "dyed black", 5),
        (3, "air", "duct Ø40", "C", 3, "duct", "raw", 3),
        (4, "chain", "=ring(1)", "", 4, "ring", "raw", 4),
        (5, "clips", "clip <tiny>", "A", 6, "clip", "raw", 2),
        (6, "toy", "ball", "A", 3, "ball", "raw", 5),
        (7, "lost", "cover", "D", 2, None, "raw", 5),
    ]
    return tuple(
        OrderLine(
            line=n,
            order=order,
            received=date(2027, 3, 1),
            customer="Team & Co",
            part=part,
            revision=revision,
            quantity=quantity,
            material="PA12",
            finish=finish,
            quality_class="standard",
            due=date(2027, 3, due),
            file=f"{file}.stl" if file else None,
            where=f"orders.csv, line {n + 1}",
        )
        for n, order, part, revision, quantity, file, finish, due in rows
    )


PART_OF_LINE = {1: "plate", 2: "knob", 3: "duct", 4: "ring", 5: "clip", 6: "ball"}


def _place(line: int, number: int, at: tuple[float, float, float], turn: np.ndarray | None = None) -> Placement:
    mesh = meshes()[PART_OF_LINE[line]]
    rotation = np.eye(3) if turn is None else turn
    low = mesh.placed(rotation, np.zeros(3)).box_mm[0]
    shift = np.asarray(at) - low
    box = mesh.placed(rotation, shift).box_mm
    return Placement(
        f"L{line:02d}-{number:02d}", PART_OF_LINE[line], line, rotation, shift, float(box[0, 2]), float(box[1, 2])
    )


_X90 = np.array([[1.0, 0, 0], [0, 0, -1], [0, 1, 0]])


def nest_one() -> tuple[Placement, ...]:
    placed = [_place(1, i + 1, (10 + 70 * (i % 2), 10 + 60 * (i // 2), 5)) for i in range(4)]
    placed += [_place(2, i + 1, (10 + 40 * (i % 3), 10 + 40 * (i // 3), 25)) for i in range(6)]
    placed += [_place(3, i + 1, (10 + 50 * i, 100, 60), _X90) for i in range(3)]
    placed += [_place(5, i + 1, (20 + 20 * i, 40, 110)) for i in range(6)]
    return tuple(placed)


def nest_two() -> tuple[Placement, ...]:
    placed = [_place(4, 1, (20, 20, 30)), _place(4, 2, (42, 20, 12), _X90)]
    placed += [_place(4, 3, (120, 20, 20)), _place(4, 4, (120, 80, 20))]
    placed += [_place(6, i + 1, (20 + 50 * i, 140, 10)) for i in range(3)]
    return tuple(placed)


def _cooling(hours: float) -> Cooling:
    t = np.linspace(0, 24 * 3600, 200)
    core = 22 + 148 * np.exp(-t / (hours * 3600 / 1.66))
    return Cooling(
        50,
        (hours * 3200, hours * 3600, hours * 4400),
        t,
        core,
        22 + (core - 22) * 0.35,
        22 + (core - 22) * 0.6,
        (95, 120, 60),
        "3D conduction",
    )


def _build(key: str, placed: tuple[Placement, ...], height: float, hours: float, removal: Removal) -> Build:
    layers = int(height / 0.1)
    z = np.linspace(0, 1, layers)
    area = 2500 + 1500 * np.sin(9 * z) + 800 * (z > 0.4)
    layer_s = np.maximum(19.0, 10 + area / 1000)
    return Build(
        key=key,
        material="PA12",
        machine="A1",
        chamber_type="small",
        lines=tuple(sorted({p.line for p in placed})),
        nest=Nest(placed, (), (178, 228), height, 0.081, 5, 1, 1),
        verification=Verification(5, PairGap(placed[0].piece, placed[1].piece, 5.3), (), (), 120, 0.4),
        removal=removal,
        profile=LayerProfile(0.1, area, area / 10, np.full(layers, 6, dtype=np.int32)),
        print_time=PrintTime(5400, layers * 10, layers * 9, 0, 1200, layer_s, 0.05),
        cooling=_cooling(hours),
        powder=PowderNeed(6.4, 2.56, 3.84, 0.55, 0.23, 5.62, 0.4, 0.12, 1.78, "class standard in line 1 asks for 40 %"),
        reason="fills one chamber with everything due by Thursday",
        line_reasons=((5, "due first, so it lies on top"),),
    )


def builds() -> tuple[Build, ...]:
    one = nest_one()
    order = tuple(p.piece for p in sorted(one, key=lambda p: -p.z_max_mm))
    free = Removal(order, (), (("L02-01", ("L01-01",)), ("L01-04", ("L03-01", "L03-02"))))
    two = nest_two()
    first = _build("B1", one, 135, 9, free)
    rest = tuple(p.piece for p in sorted(two, key=lambda p: -p.z_max_mm) if p.piece not in ("L04-01", "L04-02"))
    second = _build("B2", two, 58, 6, Removal(rest, (("L04-01", "L04-02"),), ()))
    bad = Verification(5, PairGap("L04-01", "L04-02", 1.2), (PairGap("L04-01", "L04-02", 1.2),), (), 21, 0.1)
    left = LeftOut("L06-04", 6, "no room below the lid")
    nest = Nest(second.nest.placements, (left,), (178, 228), 58, 0.05, 5, 1, 1)
    return (first, _with(second, verification=bad, nest=nest))


def _with(build: Build, **changes: object) -> Build:
    from dataclasses import replace

    return replace(build, **changes)  # type: ignore[arg-type]


def _tasks() -> tuple[Task, ...]:
    at = lambda hours: START + timedelta(hours=hours)  # noqa: E731
    rows = [
        (TaskKind.LOAD, "B1", 1, 1.5, "A1", "K1", "", ("Dev",)),
        (TaskKind.PRINT, "B1", 1.5, 10.5, "A1", "K1", "", ()),
        (TaskKind.COOL, "B1", 10.5, 26, "", "K1", "", ()),
        (TaskKind.UNPACK, "B1", 26, 28, "", "K1", "bench", ("Mira",)),
        (TaskKind.CLEAN, "B1", 28, 28.75, "", "K1", "", ("Mira",)),
        (TaskKind.FINISH, "B1", 29, 30, "", "", "cabinet", ("Mira",)),
        (TaskKind.WAIT, "B1", 30, 34, "", "", "pot", ()),
        (TaskKind.INSPECT, "B1", 50, 51, "", "", "", ("Mira",)),
        (TaskKind.PACK, "B1", 51, 51.5, "", "", "", ("Mira",)),
        (TaskKind.LOAD, "B2", 97, 97.5, "A1", "K2", "", ("Dev",)),
        (TaskKind.PRINT, "B2", 97.5, 103, "A1", "K2", "", ()),
        (TaskKind.COOL, "B2", 103, 170, "", "K2", "", ()),
        (TaskKind.UNPACK, "B2", 170, 172, "", "K2", "bench", ("Mira",)),
    ]
    of = {"B1": (1, 2, 3, 5), "B2": (4, 6)}
    return tuple(Task(k, b, of[b], at(s), at(e), m, c, st, who) for k, b, s, e, m, c, st, who in rows)


@cache
def week() -> WeekPlan:
    """The plan that all document tests look at."""
    ready = {1: 51.5, 2: 51.5, 3: 51.5, 4: 173, 5: 51.5, 6: 173}
    due = {line.line: START + timedelta(days=(line.due.day - 1), hours=9.5) for line in lines()}
    promises = tuple(
        LinePromise(
            n,
            START + timedelta(hours=h),
            due[n],
            START + timedelta(hours=h),
            START + timedelta(hours=h + 8),
            0.9 if n != 5 else 0.2,
            "waits for chamber K1 to cool" if n != 5 else "cake of B1 is cool only on Tuesday 08:00",
        )
        for n, h in ready.items()
    )
    costs = tuple(LineCost(n, 20.5, 3.1, 2.2, 14.0, 4.0 if n == 2 else 0.0, 1.1) for n in ready)
    lost = Finding(
        "mesh.not-found", Severity.BLOCKING, "no mesh file 'cover.stl'", "orders.csv, line 8", "put it into the folder"
    )
    thin = Finding("mesh.open-edges", Severity.WARNING, "12 open edges", "ring.stl", "look at it before printing")
    return WeekPlan(
        cell=cell(),
        orders=OrderList("orders.csv", lines()),
        start=START,
        parts=parts(),
        part_of_line=PART_OF_LINE,
        builds=builds(),
        schedule=Schedule(START, _tasks(), "dispatch rules", True),
        promises=promises,
        costs=costs,
        set_aside=(SetAside(7, "the mesh file cover.stl is missing", "ask the customer for it"),),
        findings=(lost, thin),
        seed=1,
        version=3,
        made_by="test",
        timings={"nesting": 1.2},
    )
