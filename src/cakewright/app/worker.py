"""Work in a process of its own: it may be stopped at any moment, run out of memory or die, and the server lives."""

from __future__ import annotations

import contextlib
import multiprocessing
import os
import signal
import sys
import time
import traceback
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from multiprocessing.connection import Connection
from multiprocessing.context import ForkServerContext, SpawnContext
from typing import Any, Protocol

from cakewright.errors import CakewrightError

WAIT_S = 0.25
OURS = "CAKEWRIGHT_"
READY_WITH = ("cakewright.app.short_work", "cakewright.app.answer_questions", "cakewright.app.look_alikes")
_begins = {"by": "anew"}


def keep_ready() -> None:
    """From now on workers are copies of a process that has read the program once: they begin in hundredths of a second.

    For a server whose people wait at the screen; where the system has no such copies (Windows, macOS) nothing changes.
    """
    if sys.platform != "linux" or _begins["by"] == "copy":
        return
    multiprocessing.get_context("forkserver").set_forkserver_preload([__name__, *READY_WITH])
    from multiprocessing.forkserver import ensure_running

    ensure_running()
    _begins["by"] = "copy"


def _context() -> SpawnContext | ForkServerContext:
    if _begins["by"] == "copy":
        return multiprocessing.get_context("forkserver")
    return multiprocessing.get_context("spawn")


@dataclass(frozen=True, slots=True)
class Told:
    """What the work says on its way: `done` of `total` of a stage, and a `value` when a piece of it is ready."""

    stage: str
    done: int
    total: int
    note: str = ""
    value: Any = None


@dataclass(frozen=True, slots=True)
class Ended:
    """How the work ended: with a `value`, or with what was `found` and the `remedy`; `code` names the kind of error.

    `cpu_s` is the processor time it took, in seconds, from its start on.
    """

    value: Any = None
    code: str = ""
    found: str = ""
    remedy: str = ""
    where: str = ""
    cpu_s: float = 0.0

    @property
    def is_good(self) -> bool:
        """True when there is a value."""
        return not self.code


@dataclass(frozen=True, slots=True)
class Limits:
    """What a worker may use: address space in bytes and processor seconds; None for no limit."""

    memory_bytes: int | None = None
    cpu_seconds: int | None = None


class Report(Protocol):
    """How the work says where it is; `value` is a piece of it that is ready."""

    def __call__(self, stage: str, done: int, total: int, note: str = "", value: Any = None) -> None:
        """`done` of `total` units of `stage` are finished."""


class Worker:
    """One function running in a fresh process. `function(report, *arguments)` and its result must be picklable."""

    def __init__(self, function: Callable[..., Any], *arguments: Any, limits: Limits | None = None) -> None:
        context = _context()
        self._ours, theirs = context.Pipe(duplex=False)
        settings = {name: value for name, value in os.environ.items() if name.startswith(OURS)}
        given = (theirs, limits or Limits(), settings, function, arguments)
        self._process = context.Process(target=_work, args=given, daemon=True)
        self._process.start()
        theirs.close()

    def messages(self) -> Iterator[Told | Ended | None]:
        """What the work says, the last one an `Ended`; None now and then while it is silent, to look around."""
        while True:
            try:
                if not self._ours.poll(WAIT_S):
                    yield None
                    continue
                said = self._ours.recv()
            except (EOFError, OSError):
                yield self._died()
                return
            yield said
            if isinstance(said, Ended):
                self._process.join(5)
                return

    def result(self) -> Ended:
        """Wait for the end."""
        return next(said for said in self.messages() if isinstance(said, Ended))

    def stop(self) -> None:
        """End it now: politely, then for good."""
        self._process.terminate()
        self._process.join(3)
        if self._process.is_alive():
            self._process.kill()
            self._process.join()

    def _died(self) -> Ended:
        self._process.join(5)
        code = self._process.exitcode
        why = {
            -signal.SIGXCPU: "it used more processor time than allowed",
            -signal.SIGKILL: "it was killed, most likely for its memory",
            -signal.SIGTERM: "it was stopped",
        }.get(code or 0, f"its process ended with code {code}")
        return Ended(code="worker", found=why, remedy="try a smaller file or a simpler mesh; report it if it stays")


def _work(
    out: Connection, limits: Limits, settings: dict[str, str], function: Callable[..., Any], arguments: tuple[Any, ...]
) -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl+C belongs to the server, which stops us in order
    began = time.process_time()
    for name in [name for name in os.environ if name.startswith(OURS) and name not in settings]:
        del os.environ[name]  # a copy of a process that began earlier
    os.environ.update(settings)
    _limit(limits)

    def report(stage: str, done: int, total: int, note: str = "", value: Any = None) -> None:
        out.send(Told(stage, done, total, note, value))

    try:
        ended = Ended(function(report, *arguments))
    except CakewrightError as wrong:
        ended = Ended(code=wrong.code, found=wrong.found, remedy=wrong.remedy, where=wrong.where)
    except MemoryError:
        ended = Ended(code="memory", found="it needs more memory than allowed", remedy="simplify the mesh")
    except Exception as wrong:  # the last fence: whatever happens in there becomes a message
        traceback.print_exc()
        ended = Ended(
            code="fault",
            found=f"a fault in the program ({type(wrong).__name__})",
            remedy="nothing was lost; please report it with the file",
        )
    with contextlib.suppress(BrokenPipeError):
        out.send(replace(ended, cpu_s=time.process_time() - began))
    out.close()


def _limit(limits: Limits) -> None:
    if os.name != "posix":  # without rlimits only the time limit of the caller holds
        return
    import resource

    for kind, value in ((resource.RLIMIT_AS, limits.memory_bytes), (resource.RLIMIT_CPU, limits.cpu_seconds)):
        if value is not None:
            _, hard = resource.getrlimit(kind)
            resource.setrlimit(kind, (value if hard == resource.RLIM_INFINITY else min(value, hard), hard))
