"""Put a plan where people find it: the database, and a folder of files and papers for this version."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

from cakewright.app.build_files import write_build_files
from cakewright.app.powder_slips import write_slips
from cakewright.app.progress import Progress, quiet
from cakewright.documents.calendar_files import calendar_files
from cakewright.documents.cooling_sheet import cooling_sheet_pdf
from cakewright.documents.handover import handover_pdf
from cakewright.documents.heat_charts import heat_pictures
from cakewright.documents.labels import labels_pdf
from cakewright.documents.powder_slip import powder_slip_pdf
from cakewright.documents.report import report_html
from cakewright.documents.tables import placements_csv, powder_csv, quotes_csv, schedule_csv
from cakewright.documents.traveller import traveller_pdf
from cakewright.documents.unpack_map import unpack_map_pdf
from cakewright.documents.what_changed import Changed
from cakewright.errors import StoreError
from cakewright.model.build import Build
from cakewright.model.plan import WeekPlan
from cakewright.store.engine import beside
from cakewright.store.lasting import flush_folder, flush_tree
from cakewright.store.open import open_store

DATABASE = "cakewright.sqlite"

PAPERS: dict[str, Callable[[WeekPlan, str], bytes]] = {
    "traveller": traveller_pdf,
    "unpacking-map": unpack_map_pdf,
    "powder-slip": powder_slip_pdf,
    "tray-labels": labels_pdf,
    "cooling-sheet": cooling_sheet_pdf,
}

TABLES: dict[str, Callable[[WeekPlan], str]] = {
    "placements.csv": placements_csv,
    "schedule.csv": schedule_csv,
    "powder.csv": powder_csv,
    "quotes.csv": quotes_csv,
}


def write_plan(
    plan: WeekPlan,
    out: str | Path,
    *,
    at: datetime | None = None,
    made_by: str = "",
    progress: Progress = quiet,
    database: str | Path = DATABASE,
) -> tuple[WeekPlan, Path]:
    """Save `plan` as the next version in `database` (a file, seen from `out`, or an address); write `out/plan-NNN/`.

    Returns the plan with its version number and the folder. The folder appears whole or not at all: it
    is written under a temporary name and renamed last; older versions are never touched. Raises
    StoreError when the folder or the database cannot be written.
    """
    out = Path(out)
    at = at or datetime.now(UTC)
    try:
        out.mkdir(parents=True, exist_ok=True)
        store = open_store(beside(out, database))
    except OSError as wrong:
        raise StoreError(f"{out} cannot be written: {wrong.strerror}", remedy="choose another --out folder") from wrong
    try:
        expected = max((summary.version for summary in store.plans()), default=0) + 1
        numbered = replace(plan, version=expected, made_by=made_by)
        folder = write_folder(numbered, out, at, progress)
        version = store.save_plan(numbered, made_by=made_by, at=at)
        if version != expected:  # somebody else saved a plan meanwhile: our papers carry the wrong number
            shutil.rmtree(folder)
            numbered = replace(numbered, version=version)
            folder = write_folder(numbered, out, at, progress)
        write_slips(store, numbered, folder / "papers", at.date())
        final = out / f"plan-{version:03d}"
        if final.exists():
            raise StoreError(
                f"{final} is already there", remedy="move it away; the plan itself is safe in the database"
            )
        place_folder(folder, final)
        return numbered, final
    except OSError as wrong:
        raise StoreError(
            f"{out} cannot be written: {wrong.strerror}",
            remedy="make room on the disk or mend the rights, then plan again; plans made before are as they were",
        ) from wrong
    finally:
        store.close()


def place_folder(folder: Path, final: Path) -> None:
    """Give a written folder its name, once all of it is on the disk."""
    flush_tree(folder)
    folder.rename(final)
    flush_folder(final.parent)


def write_folder(
    plan: WeekPlan, out: Path, at: datetime, progress: Progress, change: Changed | None = None,
    drawn: Callable[[WeekPlan, Build], WeekPlan] = lambda plan, _: plan,
) -> Path:  # fmt: skip
    """Write all files of one version into a temporary folder beside the final one; `change` stands first.

    `drawn` gives the plan with the machine as it draws a build, for its files.
    """
    folder = Path(tempfile.mkdtemp(prefix=".plan-being-written-", dir=out))
    try:
        folder.chmod(0o755)
        total = 3 + len(plan.builds) * (len(PAPERS) + 1)
        done = 0

        def told(note: str) -> None:
            nonlocal done
            progress("writing files", done, total, note)
            done += 1

        told("tables")
        for name, table in TABLES.items():
            # with a byte order mark: without it spreadsheets misread letters such as ø and ü
            (folder / name).write_text(table(plan), encoding="utf-8-sig", newline="")
        papers, pictures = folder / "papers", folder / "pictures"
        papers.mkdir()
        pictures.mkdir()
        for build in plan.builds:
            told(f"build files of {build.key}")
            write_build_files(drawn(plan, build), build, folder / "builds")
            for name, picture in heat_pictures(plan, build).items():
                (pictures / name).write_text(picture, encoding="utf-8")
            for name, make in PAPERS.items():
                told(f"{name} of {build.key}")
                (papers / f"{build.key}-{name}.pdf").write_bytes(make(plan, build.key))
        calendars = folder / "calendars"
        calendars.mkdir()
        for name, content in calendar_files(plan, stamp=at).items():
            (calendars / name).write_bytes(content)
        told("handover")
        (papers / "handover.pdf").write_bytes(handover_pdf(plan, change=change))
        if change:
            (folder / "what-changed.txt").write_text(change.text, encoding="utf-8")
        told("report")
        (folder / "report.html").write_text(report_html(plan, change), encoding="utf-8")
        progress("writing files", total, total)
    except BaseException:
        shutil.rmtree(folder, ignore_errors=True)
        raise
    return folder
