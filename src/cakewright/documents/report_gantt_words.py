"""Words on the calendar of a report: every bar is named on it or beside it, so that nobody needs a legend.

Bars too narrow for a name stand in clusters; the name of a cluster follows it, where there is room before the next bar.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import datetime
from html import escape
from itertools import pairwise

from cakewright.documents.staffing import Window
from cakewright.documents.words import held
from cakewright.model.plan import Task, TaskKind

CHAR_PX = 7.4
_NEAR_PX = 14.0  # bars closer than this are one cluster
_SEVERAL = 2  # kinds of work named for one cluster
_SHORT = {
    TaskKind.LOAD: "load",
    TaskKind.UNLOAD: "lift out",
    TaskKind.UNPACK: "unpack",
    TaskKind.CLEAN: "clean",
    TaskKind.COOL: "cools",
}
_STILL_IN = 14  # letters kept free for "B12 still in" before a name in front of a cluster
Place = Callable[[datetime], float]


def word_of(task: Task) -> str:
    """What is done, in one word or two; a step of a finish by its station."""
    if task.kind is TaskKind.FINISH:
        return task.label.partition(": ")[2].partition(",")[0].removesuffix(" runs by itself") or "finish"
    return _SHORT.get(task.kind, task.kind.value)


def name_on(task: Task, px: float) -> str:
    """The name that fits on a bar of that width: build and work, the build alone, or nothing."""
    whole = f"{task.build} {word_of(task)}".strip()
    return next((name for name in (whole, task.build) if name and len(name) * CHAR_PX <= px - 6), "")


def beside(tasks: Sequence[Task], x: Place, end_px: float, y: float, several: str = "") -> list[str]:
    """Names beside clusters of bars in one row that are too narrow for their own.

    Before the cluster those in front of its first named bar, after it those behind its last one. `several` is said of
    more than two kinds of work.
    """
    clusters: list[list[Task]] = []
    for task in sorted(tasks, key=lambda t: (t.start, t.end)):
        if clusters and x(task.start) - max(x(t.end) for t in clusters[-1]) < _NEAR_PX:
            clusters[-1].append(task)
        else:
            clusters.append([task])
    out, free_from = [], 0.0
    for n, cluster in enumerate(clusters):
        until = x(clusters[n + 1][0].start) if n + 1 < len(clusters) else end_px
        named = [i for i, t in enumerate(cluster) if name_on(t, x(t.end) - x(t.start))]
        first, after = x(cluster[0].start) - 4, max(x(t.end) for t in cluster) + 4
        room = (first - free_from) / CHAR_PX - _STILL_IN
        if named and (text := _name_of(cluster[: named[0]], room, several)):
            out.append(f'<text class="g-beside g-before" x="{first:.1f}" y="{y:.1f}">{escape(text)}</text>')
        behind = cluster[named[-1] + 1 :] if named else cluster
        text = _name_of(behind, (until - after) / CHAR_PX, several)
        if text:
            out.append(f'<text class="g-beside" x="{after:.1f}" y="{y:.1f}">{escape(text)}</text>')
        free_from = after + len(text) * CHAR_PX
    return out


def _name_of(tasks: Sequence[Task], letters: float, several: str) -> str:
    """The longest name of some work that has room; '' for none."""
    words = list(dict.fromkeys(word_of(t) for t in tasks))
    if several and len(words) > _SEVERAL:
        words = [several]
    return next((s for s in (", ".join(words[-_SEVERAL:]), *words[-1:]) if s and len(s) <= letters), "")


def standing(tasks: Sequence[Task], x: Place, y: float) -> list[str]:
    """'still in' where a machine or chamber is held by a build and nothing happens."""
    out = []
    for key in held(tasks):
        own = sorted((t for t in tasks if t.build == key), key=lambda t: t.start)
        for before, after in pairwise(own):
            wide = x(after.start) - x(before.end)
            text = f"{key} still in"
            if wide > (len(text) + 1) * CHAR_PX:
                out.append(f'<text class="g-beside" x="{x(before.end) + 5:.1f}" y="{y:.1f}">{escape(text)}</text>')
    return out


def empty_hours(windows: Sequence[Window], x: Place, width: float, y: float) -> list[str]:
    """'nobody in' over each stretch in which the cell is empty."""
    edges = [0.0, *(px for a, b in sorted(windows) for px in (x(a), x(b))), width]
    out, text = [], "nobody in"
    for left, right in zip(edges[::2], edges[1::2], strict=True):
        if right - left > (len(text) + 1) * CHAR_PX:
            out.append(f'<text class="g-empty" x="{(left + right) / 2:.1f}" y="{y:.1f}">{text}</text>')
    return out
