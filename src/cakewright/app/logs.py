"""The log of a serving program: lines for people, or one JSON object a line for machines that collect them."""

from __future__ import annotations

import json
import logging
import sys
from datetime import UTC, datetime

LOG = logging.getLogger("cakewright")


class JsonLines(logging.Formatter):
    """One object a line: at (UTC), level, event, what else was told, and a trace when there is one."""

    def format(self, record: logging.LogRecord) -> str:
        """The line."""
        at = datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds")
        told = {"at": at, "level": record.levelname.lower(), "event": record.getMessage()}
        told |= getattr(record, "told", {})
        if record.exc_info:
            told["trace"] = self.formatException(record.exc_info)
        return json.dumps(told, ensure_ascii=False, default=str)


class PlainLines(logging.Formatter):
    """Time, weight, event, then name=value."""

    def format(self, record: logging.LogRecord) -> str:
        """The line; control signs in what was told are written as escapes, so that nobody forges a line."""
        at = datetime.fromtimestamp(record.created, UTC).strftime("%Y-%m-%d %H:%M:%SZ")
        told = " ".join(f"{name}={_quiet(value)}" for name, value in getattr(record, "told", {}).items())
        line = f"{at} {record.levelname.lower()} {_quiet(record.getMessage())} {told}".rstrip()
        return f"{line}\n{self.formatException(record.exc_info)}" if record.exc_info else line


def _quiet(value: object) -> str:
    return "".join(c if c.isprintable() else c.encode("unicode_escape").decode() for c in str(value))


def set_up(kind: str, level: str) -> None:
    """Send the log of this program and of its web server to the error stream in the asked form."""
    handler = logging.StreamHandler(sys.stderr)
    handler.setFormatter(JsonLines() if kind == "json" else PlainLines())
    for name in ("cakewright", "uvicorn", "uvicorn.error"):
        log = logging.getLogger(name)
        log.handlers, log.propagate = [handler] if name != "uvicorn.error" else [], name == "uvicorn.error"
        log.setLevel(level.upper())


def tell(event: str, *, level: int = logging.INFO, **told: object) -> None:
    """One event with what belongs to it."""
    LOG.log(level, event, extra={"told": told})
