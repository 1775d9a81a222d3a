"""From a file to a server: every row of every table, in one transaction, counted afterwards."""

from __future__ import annotations

from typing import TYPE_CHECKING

from sqlalchemy import Connection, Table, func, insert, select, text

from cakewright.errors import StoreError
from cakewright.store import schema_powder
from cakewright.store.engine import reading, writing
from cakewright.store.schema import metadata, plan

if TYPE_CHECKING:
    from cakewright.store.repo import Store

PORTION = 2_000
FOLLOWS = (schema_powder.level,)  # kept by the database itself from what is booked: filled by its triggers


def copy_all(old: Store, new: Store) -> int:
    """Every row of `old` into the empty `new`; the number of plans. StoreError when `new` is not empty or rows lack."""
    with reading(old._engine) as source, writing(new._engine) as target:
        full = [table.name for table in metadata.sorted_tables if _count(target, table)]
        if full:
            raise StoreError(
                f"the database holds records already ({full[0]})", remedy="make a new one with `createdb`",
                where=new.name,
            )  # fmt: skip
        for table in metadata.sorted_tables:
            if table not in FOLLOWS:
                _copy(source, target, table)
        lost = [table.name for table in metadata.sorted_tables if _count(source, table) != _count(target, table)]
        level = schema_powder.level
        if not lost and _levels(source) != _levels(target):
            lost = [level.name]
        if lost:
            raise StoreError(f"not everything arrived ({', '.join(lost)}); nothing was kept", where=new.name)
        return _count(target, plan)


def _copy(source: Connection, target: Connection, table: Table) -> None:
    """The rows in the order of their key, so that numbers run on as they did."""
    rows = source.execution_options(yield_per=PORTION).execute(select(table).order_by(*table.primary_key))
    for portion in rows.mappings().partitions():
        target.execute(insert(table), [dict(row) for row in portion])
    number = table.autoincrement_column
    if target.dialect.name != "postgresql" or number is None:
        return
    sequence = f"SELECT pg_get_serial_sequence('\"{table.name}\"', '{number.name}')"
    if target.scalar(text(sequence)) is not None:
        last = target.scalar(select(func.max(number)))
        if last is not None:
            target.execute(text(f"SELECT setval(({sequence}), :last)"), {"last": last})


def _count(link: Connection, table: Table) -> int:
    return int(link.scalar(select(func.count()).select_from(table)) or 0)


def _levels(link: Connection) -> dict[str, int]:
    return {row.container: row.grams for row in link.execute(select(schema_powder.level))}
