"""Published optima, reproduced with stated effort (deterministic units of the solver, one worker).

Job shops: Fisher and Thompson in Muth and Thompson (1963); Lawrence (1984). Flexible job shops: Brandimarte (1993);
Kacem, Hammadi and Borne (2002). Batch machine: instances of Trindade, de Araújo and Fampa, Computers & Operations
Research 134:105394 (2021), optima by dynamic programming here. Additive batching: law of Li, Kucukkoc and Zhang,
Computers & Operations Research 83 (2017), and Kucukkoc, 105 (2019); instances with two machines and ten parts. Values
and sources lie beside the data. Harder ones: benchmarks/schedule.py published.
"""

import json

import pytest

from cakewright.schedule.cpsat import Effort
from tests.published.schedule_instances import (
    additive_batches,
    batch_machine,
    batch_machine_by_subsets,
    flexible_job_shop,
    job_shop,
    read_flexible,
)

EFFORT = Effort(20.0)


@pytest.fixture(scope="module")
def data(shared):
    return shared / "checks" / "data"


@pytest.mark.parametrize(("name", "optimum"), [("ft06", 55), ("la01", 666), ("la05", 593), ("la11", 1222)])
def test_job_shops_through_the_model_of_the_cell(data, name, optimum):
    """A job is a line whose finish visits one station after the other; nobody's hands are needed."""
    jobs = json.loads((data / "jsp" / "jsp_classic.json").read_text())[name]["jobs"]
    assert job_shop(jobs, EFFORT) == (optimum, optimum)


@pytest.mark.parametrize(("name", "optimum"), [("mk01", 40), ("mk08", 523), ("kacem1", 11), ("kacem3", 7)])
def test_flexible_job_shops(data, name, optimum):
    """Operations that may run on one of several machines: the best known lengths of three published instances."""
    assert flexible_job_shop(read_flexible(data / "fjsp" / f"{name}.txt"), EFFORT) == (optimum, optimum)


def test_batch_machine_against_dynamic_programming(data):
    """Eight instances of ten jobs: the solver, the subsets and the file agree."""
    for b in json.loads((data / "pbatch" / "pbatch_10jobs.json").read_text()):
        known = b["optimal_makespan_single_machine"]
        assert batch_machine_by_subsets(tuple(b["p"]), tuple(b["s"]), b["capacity"]) == known
        assert batch_machine(b["p"], b["s"], b["capacity"], EFFORT) == (known, known)


@pytest.mark.parametrize("sheet", [0, 1, 4])
def test_additive_batching(data, sheet):
    """Two machines, ten parts; lengths in thousandths, so equal within 0.01."""
    b = json.loads((data / "am" / "am_batch_schedule_2x10.json").read_text())[sheet]
    found, bound = additive_batches(b, EFFORT)
    assert abs(found - b["optimal_makespan"]) < 0.01 and found - bound < 0.01
