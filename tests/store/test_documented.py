"""What is undocumented fails."""

import re

from sqlalchemy import text

from cakewright.store import schema
from tests.conftest import ROOT
from tests.store.conftest import behind


def test_every_table_and_column_is_on_the_page():
    """The reference page names each table with exactly its columns."""
    text = (ROOT / "docs/reference/database.md").read_text(encoding="utf-8")
    told = {}
    for section in text.split("\n## ")[1:]:
        name, _, rest = section.partition("\n")
        told[name.strip()] = set(re.findall(r"`(\w+)`\??(?:,|\n|$)", rest.split("\n\n")[1] + "\n"))
    assert told == {name: set(table.columns.keys()) for name, table in schema.metadata.tables.items()}


def test_the_queries_on_the_page_run(store):
    """A newcomer may copy them."""
    page = (ROOT / "docs/reference/database.md").read_text(encoding="utf-8")
    queries = [q for q in page.split("```sql\n")[1].split("```")[0].split(";") if "SELECT" in q and "dbstat" not in q]
    assert len(queries) == 3
    with behind(store) as link:
        for query in queries:
            link.execute(text(query))
