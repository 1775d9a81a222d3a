"""Open the web application: on this machine only, as long as nobody has to log in."""

from __future__ import annotations

import ipaddress
from importlib import import_module
from pathlib import Path

from cakewright.errors import InputError, StoreError
from cakewright.store.open import open_store

LOCAL_NAMES = ("localhost",)


def is_this_machine(host: str) -> bool:
    """True for an address that nobody outside this machine can reach."""
    try:
        return ipaddress.ip_address(host.strip("[]")).is_loopback
    except ValueError:
        return host in LOCAL_NAMES


def check_address(host: str, port: int) -> None:
    """Refuse every address but this machine's own: InputError says why and what to do."""
    if not is_this_machine(host):
        raise InputError(
            f"{host} can be reached by others, and there are no accounts to keep strangers out",
            remedy="use --host 127.0.0.1; to look from another machine, forward the port over ssh",
            where="--host",
        )
    if not 0 <= port <= 65535:
        raise InputError(f"port {port}", remedy="use a number from 1024 to 65535", where="--port")


def serve(db: str | Path, host: str = "127.0.0.1", port: int = 8765, *, is_new: bool = False) -> None:
    """Serve the pages over the plans in `db` until Ctrl+C; `is_new` makes an empty database first.

    InputError for an address others can reach; StoreError when there is no database (or already one, when a
    new one was asked for) or it cannot be used.
    """
    import uvicorn

    check_address(host, port)
    check_database(Path(db), is_new=is_new)
    with open_store(db) as store:
        # The pages stand on this floor, so they are named by text instead of imported.
        application = import_module("cakewright.web.application").create_app(store)
        print(f"cakewright: http://{host}:{port}  (Ctrl+C ends it)", flush=True)
        uvicorn.run(application, host=host.strip("[]"), port=port, log_level="warning", server_header=False)


def check_database(db: Path, *, is_new: bool = False) -> None:
    """StoreError when there is no database at `db`, or, for a new one, when there is one already."""
    if is_new and db.exists():
        raise StoreError("there is a database already", remedy="leave --new out to open it", where=str(db))
    if is_new:
        try:
            db.parent.mkdir(parents=True, exist_ok=True)
        except OSError as wrong:
            raise StoreError(f"its folder cannot be made: {wrong.strerror}", where=str(db)) from wrong
    elif not db.exists():
        raise StoreError(
            "there is no database",
            remedy="plan a week first, see `cakewright demo`, or begin an empty one with --new",
            where=str(db),
        )
