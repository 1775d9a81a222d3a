"""Triggers for migrations, in the words of either database: tables that are written once, numbers without a gap.

A migration calls these instead of writing `CREATE TRIGGER` itself, so that a file and a server keep the same rules.
What a guard refuses arrives as an integrity error, whoever asked and with whatever tool.
"""

from __future__ import annotations

from alembic import op


def is_server() -> bool:
    """True while a migration runs on PostgreSQL, False on a file."""
    return bool(op.get_bind().dialect.name == "postgresql")


def written_once(table: str, words: str) -> None:
    """Refuse to change or delete a row of `table`, with `words` that say what to do instead."""
    for deed in ("UPDATE", "DELETE"):
        if is_server():
            _server_trigger(f"{table}_no_{deed.lower()}", f"BEFORE {deed}", table, _refusal(words))
        else:
            op.execute(
                f"CREATE TRIGGER {table}_no_{deed.lower()} BEFORE {deed} ON {table} "
                f"BEGIN SELECT RAISE(ABORT, '{words}'); END"
            )
    if is_server():
        _server_trigger(f"{table}_no_truncate", "BEFORE TRUNCATE", table, _refusal(words), each="STATEMENT")


def numbered_without_gap(table: str, words: str) -> None:
    """Refuse a row of `table` whose `number` is not one more than the largest there is."""
    wrong = f"NEW.number <> (SELECT coalesce(max(number), 0) + 1 FROM {table})"
    if is_server():
        _server_trigger(
            f"{table}_runs_on", "BEFORE INSERT", table, f"IF {wrong} THEN {_refusal(words)} END IF; RETURN NEW;"
        )
    else:
        op.execute(
            f"CREATE TRIGGER {table}_runs_on BEFORE INSERT ON {table} WHEN {wrong} "
            f"BEGIN SELECT RAISE(ABORT, '{words}'); END"
        )


def after_insert(name: str, table: str, *statements: str) -> None:
    """Run `statements`, in which NEW is the new row, after each row that is added to `table`."""
    body = "; ".join(statements) + ";"
    if is_server():
        _server_trigger(name, "AFTER INSERT", table, f"{body} RETURN NULL;")
    else:
        op.execute(f"CREATE TRIGGER {name} AFTER INSERT ON {table} BEGIN {body} END")


def _refusal(words: str) -> str:
    return f"RAISE EXCEPTION USING MESSAGE = '{words}', ERRCODE = 'integrity_constraint_violation';"


def _server_trigger(name: str, when: str, table: str, body: str, *, each: str = "ROW") -> None:
    op.execute(f"CREATE FUNCTION {name}() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN {body} END $$")
    op.execute(f'CREATE TRIGGER {name} {when} ON "{table}" FOR EACH {each} EXECUTE FUNCTION {name}()')
