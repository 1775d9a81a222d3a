"""Order lines as CSV in the columns that `read_orders` reads."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable

from cakewright.formats.orders_csv import COLUMNS
from cakewright.model.order import OrderLine


def orders_csv(lines: Iterable[OrderLine]) -> str:
    """The text of an order list, one row for each line; `read_orders` gives the same lines back."""
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow([column.name for column in COLUMNS])
    for line in lines:
        size = line.nominal_size_mm or ("", "", "")
        volume = "" if line.nominal_volume_cm3 is None else f"{line.nominal_volume_cm3:g}"
        writer.writerow([
            line.line, line.order, line.received.isoformat(), line.customer, line.part, line.revision, line.quantity,
            *(f"{s:g}" if s != "" else "" for s in size), volume, line.material, line.finish, line.quality_class,
            line.due.isoformat(), ", ".join(line.flags), line.file or "",
        ])  # fmt: skip
    return out.getvalue()
