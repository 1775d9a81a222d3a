"""What was worked out for a thing, kept as long as the thing itself lives and not a moment longer."""

from __future__ import annotations

from collections.abc import Callable, Hashable
from threading import Lock
from typing import Generic, TypeVar
from weakref import WeakKeyDictionary

Owner = TypeVar("Owner")
Value = TypeVar("Value")


class Kept(Generic[Owner, Value]):
    """A memory of results, by owner (told apart by identity) and by what was asked of it.

    Unlike `functools.lru_cache` it holds no owner alive: results go with it. At most `most` results are kept in all;
    when one more comes, the memory begins anew. Safe to use from several threads; two that ask the same thing at the
    same moment may both work it out.
    """

    def __init__(self, most: int) -> None:
        self.most = most
        self._of: WeakKeyDictionary[Owner, dict[Hashable, Value]] = WeakKeyDictionary()
        self._lock = Lock()

    def __len__(self) -> int:
        """How many results are kept."""
        with self._lock:
            return sum(len(results) for results in self._of.values())

    def get(self, owner: Owner, asked: Hashable, make: Callable[[], Value]) -> Value:
        """The result for `asked`; `make` works it out when it is not known. It must not hold the owner."""
        with self._lock:
            known = self._of.get(owner, {})
            if asked in known:
                return known[asked]
        made = make()
        if len(self) >= self.most:
            self.clear()
        with self._lock:
            self._of.setdefault(owner, {})[asked] = made
        return made

    def clear(self) -> None:
        """Forget everything."""
        with self._lock:
            self._of.clear()
