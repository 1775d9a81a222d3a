"""Take the pictures of the how-to pages anew: `python scripts/screenshots.py demo-out/cakewright.sqlite [NAME ...]`.

The database of the planned demo week is copied and the copy served on a port; some pieces are unpacked and measured
in it so that the pages have something to show. Pictures go to docs/images/howto, 1180 px wide, in 64 colours.
"""

from __future__ import annotations

import shutil
import sys
import tempfile
from datetime import UTC, datetime, timedelta
from io import BytesIO
from pathlib import Path

from PIL import Image
from playwright.sync_api import sync_playwright

HERE = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(HERE))

from tests.web.browser import ARGUMENTS, CHROMIUM, served  # noqa: E402

from cakewright.app.accounts import add_account  # noqa: E402
from cakewright.app.answer_questions import Asked, answer_question, keep_question  # noqa: E402
from cakewright.app.capacity_prices import WeekPrices  # noqa: E402
from cakewright.app.contain import report_mistake  # noqa: E402
from cakewright.app.failure_desk import Cause  # noqa: E402
from cakewright.app.inspect_line import record_reading  # noqa: E402
from cakewright.app.progress import quiet  # noqa: E402
from cakewright.app.questions import AskWhatIf, HasStopped, MoreCapacity, PlanAgain, Question  # noqa: E402
from cakewright.app.scale_change import keep_ladder  # noqa: E402
from cakewright.app.what_if import RushOrder  # noqa: E402
from cakewright.formats.lengths_csv import WantedLength  # noqa: E402
from cakewright.model.floor import FloorKind, FloorRecord  # noqa: E402
from cakewright.store import Store, open_store  # noqa: E402
from cakewright.store.accounts import Role  # noqa: E402
from cakewright.store.floor import PieceState  # noqa: E402
from cakewright.web.application import create_app  # noqa: E402

OUT = HERE / "docs" / "images" / "howto"
TUESDAY = datetime(2027, 3, 2, 5, 40, tzinfo=UTC)  # 06:40 in the cell
SIZE = (1180, 820)
COLOURS = 64
LIMIT = 200_000  # bytes
PLAN, B1, B2 = "/plans/1", "/plans/1/builds/B1", "/plans/1/builds/B2"
SHOTS = {  # name of the picture: (address, words of the heading to scroll to)
    "morning": (f"{PLAN}?at=2027-03-02T09:00", ""),
    "check": (f"{PLAN}/lines/12/part", ""),
    "quotes": ("/quotes", ""),
    "inbox": ("/inbox", ""),
    "build": (B1, ""),
    "wishes": (f"{B1}/wishes", ""),
    "heat": (f"{B1}/heat", ""),
    "powder": ("/powder", ""),
    "blend": (f"{B1}/powder", ""),
    "outlook": ("/powder/outlook", ""),
    "calendar": (f"{PLAN}/calendar", ""),
    "promise": (f"{PLAN}/lines/13", ""),
    "what-if": (f"{PLAN}/what-if", ""),
    "stopped": (f"{B1}/stopped", ""),
    "again": (f"{PLAN}/again", ""),
    "happened": (f"{PLAN}/happened?by=Mira+Solheim&at=2027-03-02T18:30", ""),
    "run": (f"{B1}/run?by=Mira+Solheim", ""),
    "unpack": (f"{B1}/unpack?by=Dev+Marten", ""),
    "identify": (f"{B1}/identify?mass_g=1.9&size=46&size=12", ""),
    "inspect": (f"{PLAN}/lines/13/inspect?by=Mira+Solheim", ""),
    "papers": (f"{PLAN}/papers", ""),
    "promises": ("/promises", ""),
    "move": (B1, "Move by hand"),
    "goods-in": ("/powder/lots", ""),
    "held": (f"{PLAN}/held", ""),
    "baskets": (f"{PLAN}/baskets?by=Mira+Solheim", ""),
    "numbers": (f"{PLAN}/numbers", ""),
    "capacity": (f"{PLAN}/capacity", ""),
    "revision": (f"{PLAN}/lines/13/revision", ""),
    "training": (f"{PLAN}/training", ""),
    "display": ("/display", ""),
    "versions": ("/plans", ""),
    "customers": ("/customers", ""),
    "scale": ("/plans/3/scale?by=Dev+Marten", ""),
    "interrupted": ("/jobs/1", ""),
    "news": (f"{PLAN}/lines/13", ""),  # another server notes something while the page is open
    "login": ("/login", ""),  # of a server that asks who you are
}
ASKED: dict[str, Question] = {  # pictures of answers: the question, asked before the page is opened
    "what-if": AskWhatIf(TUESDAY, RushOrder()),
    "stopped": HasStopped(TUESDAY.replace(hour=12), "B1", 900, Cause.POWER),
    "capacity": MoreCapacity(WeekPrices(machine=1360.0, shift=1920.0)),
    "again": PlanAgain(TUESDAY, (("A1", TUESDAY.replace(hour=11), TUESDAY.replace(day=3, hour=5)),)),
}
LATER = ("versions", "scale", "login")  # taken last: more plans and an account change what every page shows
LADDERS = (1.0003, 0.9997, 1.0002, 0.9998, 1.0003, 0.9998, 1.0001, 0.9970, 0.9971, 0.9969)


def main() -> None:
    if len(sys.argv) < 2 or not Path(sys.argv[1]).is_file():
        sys.exit(__doc__)
    wanted = sys.argv[2:] or list(SHOTS)
    if unknown := [name for name in wanted if name not in SHOTS]:
        sys.exit(f"no picture {unknown}; there are: {', '.join(SHOTS)}")
    OUT.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as folder:
        copy = shutil.copy(sys.argv[1], Path(folder) / "cell.sqlite")
        with open_store(Path(copy)) as store:
            live(store)
            with served(create_app(store, clock=lambda: TUESDAY)) as address:
                take(address, [name for name in wanted if name not in LATER], store)
                ladders(store)
                take(address, [name for name in wanted if name in LATER[:2]], store)
            if "login" in wanted:
                add_account(store, "Ada", role=Role.PLANNER, password="four or five plain words", at=TUESDAY)
                with served(create_app(store, clock=lambda: TUESDAY, asks=True)) as address:
                    take(address, ["login"], store)


def live(store: Store) -> None:
    """Some deeds of the week: the first pieces are unpacked, some of line 13 measured."""
    plan = store.load_plan(1)
    build = plan.builds[0]
    for piece in build.removal.order[:9]:
        store.record_piece(plan=1, build=build.key, piece=piece, state=PieceState.FOUND, by="Dev Marten", at=TUESDAY)
    pieces = [p.piece for b in plan.builds_of(13) for p in b.pieces_of(13)]
    for piece, value in zip(pieces, (11.98, 12.03, 12.01, 11.96), strict=False):
        record_reading(store, plan, 13, piece=piece, name="width", value=value, low=11.9, high=12.1, gauge="calliper 3",
                       by="Mira Solheim", at=TUESDAY)  # fmt: skip

    job = store.add_job(kind="plan a week", by="Mira Solheim", folder="", at=TUESDAY - timedelta(hours=9))
    store.change_job(job, state="interrupted", ended_at=TUESDAY - timedelta(hours=8), note="nesting build 3 of 4",
                     done=2, total=4)  # fmt: skip
    report_mistake(store, plan, pieces[4], what="hole off centre by 0.4 mm", cause="", by="Mira Solheim", at=TUESDAY)


def ladders(store: Store) -> None:
    """Lengths measured on pieces of as many builds as it takes, the last three of them small: a rule fires."""
    plan = store.load_plan(1)
    for _ in range(2):
        store.save_plan(plan, made_by="Mira Solheim", at=TUESDAY)
    days = (timedelta(days=n) for n in range(len(LADDERS)))
    keys = [b.key for b in plan.builds if b.machine == plan.builds[0].machine]
    places = [(version, key) for version in [s.version for s in reversed(store.plans())] for key in keys]
    for scale, day, (version, key) in zip(LADDERS, days, places, strict=False):
        lengths = [WantedLength(0, wanted, scale * wanted + 0.1) for wanted in (10.0, 40.0, 80.0, 120.0)]
        keep_ladder(
            store, store.load_plan(version), key, lengths, by="Mira Solheim", at=TUESDAY - timedelta(days=30) + day
        )


def tell(store: Store) -> None:
    """What another server writes."""
    said = {"text": "filter changed"}
    note = FloorRecord("picture-news-1", 1, FloorKind.NOTE, "Dev Marten", TUESDAY, "B1", data=said)
    store.floor.add([note], kept_at=TUESDAY)


def take(address: str, names: list[str], store: Store) -> None:
    """One picture for each name."""
    with sync_playwright() as tools:
        browser = tools.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        context = browser.new_context(
            viewport={"width": SIZE[0], "height": SIZE[1]}, color_scheme="light", reduced_motion="reduce"
        )
        page = context.new_page()
        for name in names:
            place, heading = SHOTS[name]
            if name in ASKED:
                word = keep_question(store, Asked(1, place.removeprefix("/"), ASKED[name]))
                place = f"/{answer_question(quiet, store.address, word).place}"
            answer = page.goto(address + place)
            if answer is None or not answer.ok:
                sys.exit(
                    f"{name}: {place} answered {answer.status if answer else 'nothing'}: {page.inner_text('main')}"
                )
            page.wait_for_timeout(1500)  # the nest is drawn in software
            if name == "news":
                tell(store)
                page.locator("#news").wait_for(state="visible", timeout=15_000)
            if heading:
                page.get_by_role("heading", name=heading).first.scroll_into_view_if_needed()
            print(f"{name}: {keep(page.screenshot(), OUT / f'{name}.png') // 1000} kB", flush=True)
        browser.close()


def keep(png: bytes, path: Path) -> int:
    """The picture in few colours; its size in bytes."""
    small = Image.open(BytesIO(png)).convert("RGB").quantize(COLOURS, dither=Image.Dither.NONE)
    small.save(path, optimize=True)
    size = path.stat().st_size
    if size > LIMIT:
        sys.exit(f"{path.name}: {size} bytes found, {LIMIT} allowed: take a smaller part of the page")
    return size


if __name__ == "__main__":
    main()
