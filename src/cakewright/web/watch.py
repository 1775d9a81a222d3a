"""The marks of a store for many pages that ask: the database itself is asked once a second."""

from __future__ import annotations

import threading
import time

from cakewright.store import Store
from cakewright.store.marks import Marks

FRESH_S = 1.0


class Watch:
    """The marks of a store, at most a second old."""

    def __init__(self, store: Store) -> None:
        self._store = store
        self._lock = threading.Lock()
        self._seen: tuple[float, Marks] | None = None

    def marks(self) -> Marks:
        """How far the database has come."""
        with self._lock:
            now = time.monotonic()
            if self._seen is None or now - self._seen[0] > FRESH_S:
                self._seen = now, self._store.marks()
            return self._seen[1]
