"""Who does the heavy work of a plan: this computer, or the workers of a Dask cluster by address.

Nests, builds and simulated weeks are handed out one by one through the interface of `concurrent.futures`. Each depends
on what it is given only (its own seed, stop rules that count steps), so the plan is the same wherever it was worked
out, however many workers there are, and also when one of them is lost: what it had in hand is done again by another.
"""

from __future__ import annotations

import logging
import os
import warnings
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future
from contextlib import contextmanager
from typing import Any, Protocol, TypeVar

from cakewright import __version__
from cakewright.errors import InputError

T = TypeVar("T")

VARIABLE = "CAKEWRIGHT_CLUSTER"
CONNECT_S = 10
TRIES = 5  # chosen by us: a piece of work is given up when so many workers died over it


class Crew(Protocol):
    """What is needed of `concurrent.futures.Executor`."""

    def submit(self, function: Callable[..., Any], /, *args: Any) -> Future[Any]:
        """Start a call somewhere and return its future."""
        ...


def results(crew: Crew, function: Callable[..., T], calls: Sequence[tuple[Any, ...]]) -> Iterator[T]:
    """What `function` gives for each tuple of arguments, in order; the rest is given up when one fails."""
    futures = [crew.submit(function, *arguments) for arguments in calls]
    try:
        for future in futures:
            yield future.result()
    finally:
        for future in futures:
            future.cancel()


@contextmanager
def crew_at(address: str | None) -> Iterator[Crew | None]:
    """The workers of the cluster at an address such as tcp://planner:8786; None (this computer) without an address.

    InputError when the library is not installed, nobody answers there, there are no workers, or one of them has
    another version of cakewright.
    """
    address = address or os.environ.get(VARIABLE)
    if not address:
        yield None
        return
    try:
        import dask
        from distributed import Client
    except ModuleNotFoundError as wrong:
        raise InputError(
            "the library for clusters is not installed", remedy="pip install 'cakewright[cluster]'", where="--cluster"
        ) from wrong
    logging.getLogger("distributed").setLevel(logging.ERROR)
    with dask.config.set({"distributed.scheduler.allowed-failures": TRIES}):
        try:
            connect: Any = Client  # the library carries no types for its calls
            client: Any = connect(address, timeout=CONNECT_S, set_as_default=False)
        except (OSError, ValueError, TypeError) as wrong:
            raise InputError(
                f"no cluster answers at {address}", remedy="start `dask scheduler` there, or mend the address",
                where="--cluster",
            ) from wrong  # fmt: skip
        with client, warnings.catch_warnings():
            warnings.filterwarnings("ignore", message="Sending large graph")  # parts are large, and needed there
            _check_workers(client.run(_version), address)
            yield client.get_executor(pure=False)


def _version() -> str:
    return __version__


def _check_workers(versions: dict[str, str], address: str) -> None:
    if not versions:
        raise InputError(
            f"the cluster at {address} has no workers", remedy=f"start `dask worker {address}` on some computers",
            where="--cluster",
        )  # fmt: skip
    other = {worker: version for worker, version in versions.items() if version != __version__}
    for worker, version in other.items():
        raise InputError(
            f"worker {worker} has cakewright {version}, this computer {__version__}",
            remedy="install the same version everywhere", where="--cluster",
        )  # fmt: skip
