"""Several nests at once through an executor, or one task from several seeds.

Any executor with `submit` will do: threads (the compiled search lets others run beside it), processes,
or a cluster. Each nest depends on its own task, seed and stop rule only, so the answer is the same
with any executor and any number of workers as long as the rules count steps.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import Future
from dataclasses import dataclass
from typing import Protocol

from cakewright.errors import InputError
from cakewright.model.build import Nest
from cakewright.nesting.search import nest
from cakewright.nesting.task import NestTask
from cakewright.stopping import Stop


class Executor(Protocol):
    """What is needed of `concurrent.futures.Executor`."""

    def submit(self, function: Callable[..., Nest], /, *args: object) -> Future[Nest]:
        """Start a call somewhere and return its future."""
        ...


@dataclass(frozen=True, eq=False)
class NestJob:
    """One nest to be made: what, how long, from which seed. Rules that read a clock start when the work starts."""

    task: NestTask
    stop: Stop
    seed: int
    arrange_stop: Stop | None = None


def run_job(job: NestJob) -> Nest:
    """Make the nest of a job."""
    return nest(job.task, stop=job.stop, seed=job.seed, arrange_stop=job.arrange_stop)


def nest_many(
    jobs: Sequence[NestJob], executor: Executor | None = None, *, done: Callable[[int], None] | None = None
) -> tuple[Nest, ...]:
    """The nests of all jobs, in their order; one after the other without an executor.

    `done(n)` is told after each that n are finished. When one fails the others are given up and its error raised.
    """
    if executor is None:
        made = []
        for job in jobs:
            made.append(run_job(job))
            if done is not None:
                done(len(made))
        return tuple(made)
    futures = [executor.submit(run_job, job) for job in jobs]
    try:
        results = []
        for future in futures:
            results.append(future.result())
            if done is not None:
                done(len(results))
    except BaseException:
        for future in futures:
            future.cancel()
        raise
    return tuple(results)


def best_of(task: NestTask, seeds: Sequence[int], stop: Callable[[], Stop], executor: Executor | None = None) -> Nest:
    """The best nest from several seeds: fewest pieces left out, then lowest, then the first seed. `stop` per start."""
    if not seeds:
        raise InputError("no seed to start from", remedy="give at least one")
    made = nest_many([NestJob(task, stop(), seed) for seed in seeds], executor)
    return min(made, key=lambda n: (len(n.left_out), n.height_mm))
