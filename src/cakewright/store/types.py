"""Column types: instants in UTC, lists of words, arrays as compressed bytes."""

from __future__ import annotations

import json
import zlib
from datetime import UTC, datetime

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import BigInteger, DateTime, Integer, Text
from sqlalchemy.engine import Dialect
from sqlalchemy.types import TypeDecorator

from cakewright.errors import StoreError

COMPRESSION = 3  # zlib level: beyond it the files shrink little and saving slows down much


Whole = Integer().with_variant(BigInteger(), "postgresql")  # 64 bits on a server too: seeds and counts of pairs


class Instant(TypeDecorator[datetime]):
    """An instant, stored as UTC without zone, given back as an aware UTC datetime."""

    impl = DateTime
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """To UTC; a time without zone is refused because nobody can know which zone was meant."""
        if value is None:
            return None
        if value.tzinfo is None:
            raise StoreError(f"time {value.isoformat()} has no time zone", remedy="give instants in UTC")
        return value.astimezone(UTC).replace(tzinfo=None)

    def process_result_value(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """Back to an aware UTC datetime."""
        return None if value is None else value.replace(tzinfo=UTC)


class Words(TypeDecorator[tuple[str, ...]]):
    """A short list of texts (flags, notes), stored as a JSON list."""

    impl = Text
    cache_ok = True

    def process_bind_param(self, value: tuple[str, ...] | None, dialect: Dialect) -> str | None:
        """To JSON text."""
        return None if value is None else json.dumps(list(value), ensure_ascii=False)

    def process_result_value(self, value: str | None, dialect: Dialect) -> tuple[str, ...] | None:
        """Back to a tuple."""
        return None if value is None else tuple(json.loads(value))


def pack(array: NDArray[np.generic]) -> bytes:
    """Bytes of an array, little-endian and row by row, compressed with zlib."""
    return zlib.compress(np.ascontiguousarray(array).tobytes(), COMPRESSION)


def unpack(blob: bytes, dtype: str, *, where: str) -> NDArray[np.generic]:
    """The flat array that `pack` was given; StoreError when the bytes are damaged."""
    try:
        return np.frombuffer(zlib.decompress(blob), dtype=np.dtype(dtype)).copy()
    except (zlib.error, ValueError) as wrong:
        raise StoreError(f"stored numbers are damaged ({wrong})", remedy="restore a backup", where=where) from wrong
