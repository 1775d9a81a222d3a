"""A small plan, and a store in which every table has rows: for upgrades, kills and full disks."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from functools import cache

import numpy as np

from cakewright.app.accounts import add_account
from cakewright.model.build import LayerProfile, Verification
from cakewright.model.floor import FloorKind, FloorRecord
from cakewright.model.offer import BreakRow, CostRow, Offer, OfferState
from cakewright.model.part import Freedom, OrientationRule
from cakewright.model.plan import TaskKind, WeekPlan
from cakewright.powder.ledger import Container, ContainerKind, EntryKind, Lot
from cakewright.store import PieceState, Store
from cakewright.store.accounts import Role
from cakewright.store.physics import KeptFit, KeptLog, KeptReading, KeptSpeed
from tests.documents.world import week
from tests.store.conftest import heat

NOON = datetime(2027, 3, 1, 12, 0, tzinfo=UTC)
LINES = (1, 5)
DRUM, BLEND, OUTSIDE, PASSWORD = "V-1", "M-1", "supplier", "correct horse battery staple"


@cache
def tiny_week() -> WeekPlan:
    """Two lines, one build of ten blocks, 30 layers: a plan that is saved in milliseconds."""
    plan = week()
    build = plan.builds[0]
    placed = tuple(p for p in build.nest.placements if p.line in LINES)
    names = {p.piece for p in placed}
    cool, layers = build.cooling, build.profile
    slow = slice(None, None, 40)
    small = replace(
        build,
        lines=LINES,
        nest=replace(build.nest, placements=placed),
        removal=replace(build.removal, order=tuple(n for n in build.removal.order if n in names), hooked=()),
        profile=LayerProfile(0.1, layers.area_mm2[:30], layers.contour_mm[:30], layers.outlines[:30]),
        print_time=replace(build.print_time, layer_s=build.print_time.layer_s[:30]),
        cooling=replace(cool, curve_s=cool.curve_s[slow], core_c=cool.core_c[slow], skin_c=cool.skin_c[slow],
                        mean_c=cool.mean_c[slow]),
        verification=Verification(5, None, (), (), 3, 0.1),
    )  # fmt: skip
    small = replace(small, heat=heat(small))
    tasks = tuple(replace(t, lines=LINES) for t in plan.schedule.tasks if t.build == "B1")
    return replace(
        plan,
        orders=replace(plan.orders, lines=tuple(line for line in plan.orders.lines if line.line in LINES)),
        parts={key: plan.parts[key] for key in ("plate", "clip")},
        part_of_line={1: "plate", 5: "clip"},
        builds=(small,),
        schedule=replace(plan.schedule, tasks=tasks),
        promises=tuple(p for p in plan.promises if p.line in LINES),
        costs=tuple(c for c in plan.costs if c.line in LINES),
        set_aside=(),
    )


def offer():
    """An invented quote with everything in it."""
    row = CostRow("machine", Decimal("12.10"), None, Decimal("40.00"))
    brk = BreakRow(10, Decimal("6.50"), Decimal("65.00"), 1, is_break=True)
    return Offer("Team <i>", "clip", "A", "clip.stl", "ab" * 32, 4, "PA12", "raw", "standard", "EUR", 0.25,
                 Decimal(16), Decimal(30), Decimal(50), (row,), (brk,), "No planned build can take it.",
                 date(2027, 3, 9), "packed on Tuesday", date(2027, 3, 9), date(2027, 3, 10), 0.93, Decimal(3),
                 "L02 loses 3", 0.5, ("Which day?",), ("thin wall",), ("unit mm",), date(2027, 4, 1), 2, "0.1",
                 (20.0, 12.0, 8.0), 1.9)  # fmt: skip


def stock_powder(store: Store, kg: float = 500.0) -> None:
    """One lot in a drum, and a blend to book into."""
    with store.powder.booking() as book:
        who = {"at": NOON, "by": "Mira"}
        book.add_lot(Lot("LOT-1", "PA12", "S-77", date(2027, 2, 1), "read"), melt_flow=42.0, **who)
        book.add_container(Container(OUTSIDE, ContainerKind.SUPPLIER, "PA12"), **who)
        book.add_container(Container(DRUM, ContainerKind.VIRGIN, "PA12", lot="LOT-1"), **who)
        book.add_container(Container(BLEND, ContainerKind.BLEND, "PA12"), **who)
        book.move(at=NOON, source=OUTSIDE, target=DRUM, kg=kg, who="Mira", kind=EntryKind.RECEIVE)


def fill(store: Store) -> None:
    """Rows in every table: a plan, the bench, jobs, quotes, powder, hours, rules, people."""
    who = {"at": NOON + timedelta(days=9), "by": "Mira"}
    plan = tiny_week()
    spot = replace(plan.findings[1], at_mm=(1.5, -2.0, 0.25))
    first = replace(plan.parts["plate"], findings=(spot,))
    build = plan.builds[0]
    a, b = (p.piece for p in build.nest.placements[:2])
    left = replace(week().builds[1].nest.left_out[0], line=5)
    near = replace(week().builds[0].verification.tightest, first=a, second=b)
    whole = replace(
        build,
        nest=replace(build.nest, left_out=(left,)),
        verification=Verification(5, near, (near,), ((a, 0.25),), 3, 0.1),
        removal=replace(build.removal, stuck=((a, b),), hooked=((a, (b,)),)),
    )
    version = store.save_plan(
        replace(plan, builds=(whole,), parts={**plan.parts, "plate": first}, set_aside=week().set_aside),
        made_by="Mira", at=NOON,
    )  # fmt: skip
    store.record_piece(plan=version, build="B1", piece=a, state=PieceState.FOUND, note="ü", **who)
    job = store.add_job(kind="plan a week", folder="", **who)
    store.change_job(job, state="done", ended_at=NOON, plan=version)
    store.photos.add(b"\x89PNG\r\n\x1a\n" + bytes(20), uid="photo-00001", plan=version, build="B1", by="Mira", at=NOON,
                     kept_at=NOON, note="layer 20")  # fmt: skip
    store.floor.add([FloorRecord("uid-00001", version, FloorKind.NOTE, "Mira", NOON, "B1", 1, a, {"text": "warm"})],
                    kept_at=NOON)  # fmt: skip
    store.save_offer(offer(), at=NOON, by="Mira")
    store.step_offer(1, OfferState.ACCEPTED, at=NOON, by="Mira")
    store.schedule.commit(plan=version, until=NOON, note="told", **who)
    store.schedule.note_progress(plan=version, kind=TaskKind.PRINT, build="B1", started=NOON, **who)
    store.schedule.note_stop(plan=version, build="B1", layer=12, cause="power cut", margin_mm=2.0, stopped=NOON,
                             recovery="remake", new_plan=None, **who)  # fmt: skip
    rule = OrientationRule(Freedom.UPRIGHT_CONE, "flat side down", 15.0, (0.0, 0.0, 1.0))
    store.parts.add_rule(name="plate", revision="A", rule=rule, **who)
    store.parts.keep_signature(plan.parts["plate"].mesh.sha256, 1, np.arange(4.0))
    store.physics.add_logs([KeptLog("A1", "B1", version, "B1", 6.0, 36_000.0, np.array([20.0, np.nan, 21.5]))], **who)
    store.physics.add_fit(KeptFit("A1", 1, ((1.0, 0.9, 1.1),) * 4, 0.05, (("1-B1", 0.01),)), **who)
    store.physics.add_readings([KeptReading(version, "B1", (95.0, 95.0, 60.0), 3600.0, 120.5)], **who)
    store.physics.add_speed(KeptSpeed("small", "k", 1, 1.1, 0.9, 1.3), **who)
    stock_powder(store)
    with store.powder.booking() as book:
        book.move(at=NOON, source=DRUM, target=BLEND, kg=12.5, who="Mira")
        book.remark("container", BLEND, "label", "labelled", **who)
        book.read_flow(BLEND, melt_flow=40.0, relative_sigma=0.05, **who)
        book.keep_shares(version, "B1", {"lot LOT-1": 1.0})
    store.photos.add(b"\x89PNG\r\n\x1a\n", uid="photo-001", plan=version, build="B1", line=1, by="Mira", at=NOON,
                     kept_at=NOON)  # fmt: skip
    add_account(store, "Ada", Role.PLANNER, PASSWORD, at=NOON)
    store.accounts.open_session("token", "Ada", until=NOON)
    store.accounts.note_wrong_password("Eve", at=NOON)
    store.customers.limit("Ada", ["Team & Co"])
    store.customers.set_date("Team & Co", date(2028, 1, 1), by="Mira", at=NOON)
    store.customers.erase("Nobody", {}, report="nothing", by="Mira", at=NOON)
    for deed in ("POST /inbox", "POST /quotes"):
        store.accounts.note_change(account_name="Ada", deed=deed, outcome=303, at=NOON)
