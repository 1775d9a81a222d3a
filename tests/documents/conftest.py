"""The invented week that all papers are made of."""

import pytest

from cakewright.model.plan import WeekPlan
from tests.documents.world import week


@pytest.fixture(scope="session")
def plan() -> WeekPlan:
    """Two builds, a late line, a line set aside, a stuck pair, names that try to break every format."""
    return week()
