"""Questions generated from the interface's own description, put to a served application, every answer judged."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import schemathesis
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import seed as seeded
from hypothesis import strategies as st
from schemathesis.checks import not_a_server_error
from schemathesis.specs.openapi import checks as judged

from cakewright.demo.powder import write_demo_powder
from cakewright.store import open_store
from cakewright.web.application import create_app
from tests.web.browser import served
from tests.web.conftest import TUESDAY, offer, warm_week

KNOWN: dict[str, list[Any]] = {  # what is really there, so that answers are judged and not only refusals
    "version": [1],
    "number": [1, 2, 7],
    "key": ["B1", "B2"],
    "job": [1],
    "quote": [1],
    "can": ["U01", "U02", "N01"],
    "name": ["clip.stl", "orders.csv", "cell.toml"],
}
CHECKS = [
    not_a_server_error,
    judged.status_code_conformance,
    judged.content_type_conformance,
    judged.response_schema_conformance,
    judged.negative_data_rejection,
]
ERROR = {"code", "found", "remedy", "where"}


@contextmanager
def served_world(folder: Path) -> Iterator[str]:
    """The address of an application over a plan, a job, a quote and powder."""
    with open_store(folder / "cell.sqlite") as store:
        store.save_plan(warm_week(), made_by="Mira", at=TUESDAY)
        store.add_job(kind="plan a week", by="Mira", folder="", at=TUESDAY)
        store.save_offer(offer(), at=TUESDAY, by="Mira")
        write_demo_powder(store, warm_week().cell, datetime(2027, 3, 1, 6, tzinfo=UTC))
        with served(create_app(store, clock=lambda: TUESDAY)) as address:
            yield address


def operations(address: str) -> list[Any]:
    """Every operation of the description; addresses are often filled with names that exist."""
    schema = schemathesis.openapi.from_url(f"{address}/api/openapi.json")

    @schema.hook
    def before_generate_path_parameters(context: object, strategy: st.SearchStrategy[Any]) -> st.SearchStrategy[Any]:
        return st.builds(_with_known, strategy, st.integers(0, 4))

    return [found.ok() for found in schema.get_all_operations()]


def _with_known(generated: dict[str, Any] | None, pick: int) -> dict[str, Any] | None:
    if not generated:
        return generated
    return {k: KNOWN[k][pick % len(KNOWN[k])] if k in KNOWN and pick else v for k, v in generated.items()}


def ask(operation: Any, address: str, *, examples: int, seed: int) -> Counter[int]:
    """Put generated questions to one operation; how often it answered with which status. Raises what was wrong."""
    statuses: Counter[int] = Counter()

    @seeded(seed)
    @settings(
        max_examples=examples,
        database=None,
        deadline=None,
        phases=[Phase.explicit, Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    @given(case=operation.as_strategy())
    def put(case: Any) -> None:
        answer = case.call(base_url=address)
        statuses[answer.status_code] += 1
        case.validate_response(answer, checks=CHECKS)
        if answer.status_code >= 400:
            assert set(answer.json()) == {"error"}, answer.text
            assert set(answer.json()["error"]) == ERROR, answer.text

    put()
    return statuses
