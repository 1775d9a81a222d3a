"""Nests made side by side are the nests made one after the other."""

from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest

from cakewright.errors import DoesNotFitError, InputError
from cakewright.nesting.task import NestPiece, NestSpace, NestTask
from cakewright.nesting.wishes import NestWishes, ReservedPlace
from cakewright.nesting.workers import NestJob, best_of, nest_many
from cakewright.stopping import MaxSteps
from tests.conftest import box_mesh
from tests.nesting.conftest import cube_rotations


def small_task(wishes=None):
    meshes = {"rod": box_mesh(6, 8, 30), "cube": box_mesh(10, 10, 10)}
    pieces = [NestPiece(f"{k}{i}", k, n) for n, k in enumerate(meshes, 1) for i in range(6)]
    return NestTask(meshes, pieces, dict.fromkeys(meshes, cube_rotations()), NestSpace(40, 40, 90), 2.0, 1.0, wishes)


def spots(made):
    return [(p.piece, p.translation.tolist()) for p in made.placements]


def test_the_same_seeds_give_the_same_nests_with_and_without_workers():
    jobs = [NestJob(small_task(NestWishes()), MaxSteps(8), seed, MaxSteps(8)) for seed in (1, 2, 3)]
    told = []
    alone = nest_many(jobs)
    with ThreadPoolExecutor(2) as pool:
        beside = nest_many(jobs, pool, done=told.append)
    assert [spots(a) for a in alone] == [spots(b) for b in beside]
    assert [n.seed for n in beside] == [1, 2, 3]
    assert told == [1, 2, 3]


def test_several_starts_are_never_worse_than_one():
    one = nest_many([NestJob(small_task(), MaxSteps(5), 1)])[0]
    with ThreadPoolExecutor(2) as pool:
        best = best_of(small_task(), [1, 2, 3, 4], lambda: MaxSteps(5), pool)
    assert best.height_mm <= one.height_mm


def test_an_error_in_one_worker_comes_out():
    place = ReservedPlace("T", (0, 0, 0), (5, 5, 5), "cube")
    jobs = [NestJob(small_task(), MaxSteps(0), 1), NestJob(small_task(NestWishes(reserved=(place,))), MaxSteps(0), 1)]
    with ThreadPoolExecutor(2) as pool, pytest.raises(DoesNotFitError, match="reserved place T"):
        nest_many(jobs, pool)


def test_no_seed_is_an_error():
    with pytest.raises(InputError, match="no seed"):
        best_of(small_task(), [], lambda: MaxSteps(0))


def test_a_job_crosses_a_process_boundary():
    """Everything in a job can be pickled, so a process pool or a cluster may run it."""
    import pickle

    job = pickle.loads(pickle.dumps(NestJob(small_task(NestWishes()), MaxSteps(2), 4, MaxSteps(0))))
    assert np.array_equal(job.task.meshes["cube"].vertices, small_task().meshes["cube"].vertices)
    assert spots(nest_many([job])[0]) == spots(
        nest_many([NestJob(small_task(NestWishes()), MaxSteps(2), 4, MaxSteps(0))])[0]
    )
