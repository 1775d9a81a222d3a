"""cakewright: from an order list to a week that a laser-sintering cell can run.

The five lines that do what `cakewright plan` does::

    from cakewright import plan_week, read_cell, read_orders, write_plan

    cell = read_cell("cell.toml")
    orders = read_orders("orders.csv", cell)
    plan = plan_week(orders, cell, parts="parts/")
    write_plan(plan, "out/")
"""

from typing import TYPE_CHECKING, Any

__version__ = "0.1.0"

__all__ = ["__version__", "plan_week", "read_cell", "read_orders", "write_plan"]

if TYPE_CHECKING:
    from cakewright.app.plan_week import plan_week
    from cakewright.app.write_plan import write_plan
    from cakewright.formats.cell_toml import read_cell
    from cakewright.formats.orders_csv import read_orders

_WHERE = {
    "plan_week": "cakewright.app.plan_week",
    "write_plan": "cakewright.app.write_plan",
    "read_cell": "cakewright.formats.cell_toml",
    "read_orders": "cakewright.formats.orders_csv",
}


def __getattr__(name: str) -> Any:
    """Import the public functions when they are asked for: `import cakewright` stays light."""
    if name in _WHERE:
        from importlib import import_module

        return getattr(import_module(_WHERE[name]), name)
    raise AttributeError(f"cakewright has no {name!r}; it has {', '.join(__all__)}")
