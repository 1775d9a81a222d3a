"""The interface keeps its own description: no fault, described answers only, one shape of error."""

import pytest

from tests.web.contract import ask, operations, served_world


@pytest.fixture(scope="module")
def address(tmp_path_factory):
    with served_world(tmp_path_factory.mktemp("contract")) as at:
        yield at


def test_every_answer_is_as_described(address, subtests):
    """Generated questions, wrong ones among them, to every operation: more than half of those that read succeed."""
    found = operations(address)
    assert len(found) >= 36
    answered = set()
    for operation in found:
        with subtests.test(operation.label):
            if 200 in ask(operation, address, examples=10, seed=1):
                answered.add(operation.label)
    reading = {operation.label for operation in found if operation.label.startswith("GET")}
    assert len(answered & reading) > len(reading) / 2
