"""Order lines as the pages show them: the line, its state in a word, its builds, its price."""

from __future__ import annotations

from dataclasses import dataclass

from cakewright.model.build import Build
from cakewright.model.order import OrderLine
from cakewright.model.plan import LineCost, LinePromise, SetAside, WeekPlan


@dataclass(frozen=True, eq=False)
class LineView:
    """One row. `state` is a word that also names the mark beside it."""

    line: OrderLine
    promise: LinePromise | None
    cost: LineCost | None
    builds: tuple[Build, ...]
    set_aside: SetAside | None

    @property
    def state(self) -> str:
        """'late', 'on time', 'not planned'."""
        if self.promise is None:
            return "not planned"
        return "late" if self.promise.is_late else "on time"

    @property
    def reason(self) -> str:
        """Why, in words."""
        if self.set_aside is not None:
            return self.set_aside.reason
        return self.promise.reason if self.promise else "no date was computed"

    @property
    def words(self) -> str:
        """What a search looks in."""
        line = self.line
        keys = " ".join(b.key for b in self.builds)
        return f"{line.key} {line.order} {line.customer} {line.title} {line.finish} {self.state} {keys}".lower()


def line_views(plan: WeekPlan) -> tuple[LineView, ...]:
    """Every line of a plan, in the order of the list."""
    promises = {p.line: p for p in plan.promises}
    costs = {c.line: c for c in plan.costs}
    aside = {s.line: s for s in plan.set_aside}
    return tuple(
        LineView(line, promises.get(line.line), costs.get(line.line), plan.builds_of(line.line), aside.get(line.line))
        for line in plan.orders.lines
    )


def find_lines(lines: tuple[LineView, ...], query: str) -> tuple[LineView, ...]:
    """The lines that hold every word of `query` somewhere."""
    wanted = query.lower().split()
    return tuple(view for view in lines if all(word in view.words for word in wanted))
