"""A real browser on real pages: Debian's Chromium, headless, drawing 3D in software."""

from __future__ import annotations

import shutil
import socket
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import uvicorn
from fastapi import FastAPI

CHROMIUM = shutil.which("chromium") or "/usr/bin/chromium"
ARGUMENTS = (
    "--headless --no-sandbox --disable-gpu --disable-quic --no-first-run --disable-background-networking "
    "--disable-component-update --disable-sync"
).split()
AXE = Path(__file__).parent / "vendor" / "axe.min.js"
LOOK = """async (chosen) => {
  const found = await axe.run(document, { runOnly: chosen, resultTypes: ["violations"] });  // of the rest: how many
  return { passed: found.passes.length, violations: found.violations };
}"""
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]


@contextmanager
def served(app: FastAPI) -> Iterator[str]:
    """The address of `app`, served on a free port of this machine by a thread."""
    listening = socket.socket()
    listening.bind(("127.0.0.1", 0))
    server = uvicorn.Server(uvicorn.Config(app, log_level="warning", timeout_graceful_shutdown=1))
    started = threading.Event()
    startup = server.startup

    async def then_tell(sockets: list[socket.socket] | None = None) -> None:
        await startup(sockets)
        started.set()

    server.startup = then_tell  # type: ignore[method-assign]
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]}, daemon=True)
    thread.start()
    assert started.wait(20)
    yield f"http://127.0.0.1:{listening.getsockname()[1]}"
    server.should_exit = True
    thread.join(10)
    listening.close()


def complaints(page: object) -> list[str]:
    """A list that fills with errors of the console, faults of scripts and failed requests of a page."""
    heard: list[str] = []
    on: Callable[..., None] = page.on  # type: ignore[attr-defined]
    on("console", lambda m: heard.append(f"{m.type}: {m.text}") if m.type == "error" else None)
    on("pageerror", lambda e: heard.append(f"fault: {e}"))
    on(
        "requestfailed",
        lambda r: heard.append(f"failed: {r.url} {r.failure}") if "ERR_ABORTED" not in str(r.failure) else None,
    )
    on("response", lambda r: heard.append(f"{r.status}: {r.url}") if r.status >= 400 else None)
    return heard


def barriers(page: object, only: list[str] | None = None) -> list[str]:
    """What keeps people out by WCAG 2.2 A and AA, as far as a program can see: rule, and the first place."""
    evaluate: Callable[..., Any] = page.evaluate  # type: ignore[attr-defined]
    evaluate(AXE.read_text(encoding="utf-8"))
    chosen = {"type": "rule", "values": only} if only else {"type": "tag", "values": RULES}
    found = evaluate(LOOK, chosen)
    assert found["passed"], "the checker looked at nothing"
    return [
        f"{v['id']}: {v['nodes'][0]['html'][:150]} {v['nodes'][0]['failureSummary'][:300]}" for v in found["violations"]
    ]
