"""What the commands print: one console, progress bars, tables for people."""

from __future__ import annotations

from types import TracebackType

from rich.console import Console
from rich.progress import BarColumn, Progress, SpinnerColumn, TaskID, TextColumn, TimeElapsedColumn

console = Console(highlight=False)


class Bars:
    """Progress bars fed by the app floor: one bar for each stage, in the order the stages start."""

    def __init__(self) -> None:
        self._bars = Progress(
            SpinnerColumn(),
            TextColumn("{task.description:<22}"),
            BarColumn(bar_width=28),
            TextColumn("{task.completed:>4.0f}/{task.total:<4.0f}"),
            TimeElapsedColumn(),
            TextColumn("{task.fields[note]}", style="dim"),
            console=console,
        )
        self._stages: dict[str, TaskID] = {}

    def __enter__(self) -> Bars:
        self._bars.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, wrong: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._bars.stop()

    def __call__(self, stage: str, done: int, total: int, note: str = "") -> None:
        """Move the bar of `stage`."""
        if stage not in self._stages:
            self._stages[stage] = self._bars.add_task(stage, total=max(total, 1), note="")
        shown = note if len(note) <= 40 else note[:39] + "…"
        self._bars.update(self._stages[stage], completed=done, total=max(total, 1), note=shown)
