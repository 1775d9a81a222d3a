"""Two invented cells with their weeks of orders and parametric parts, for the demo, docs and tests."""

from cakewright.demo.load import demo_cell, demo_orders, demo_parts, write_demo, write_demo_parts

__all__ = ["demo_cell", "demo_orders", "demo_parts", "write_demo", "write_demo_parts"]
