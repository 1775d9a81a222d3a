"""Logins of tests: hashes that take a hundredth of the time of real ones, for those that are not about the hash."""

from collections.abc import Iterator

import pytest
from argon2 import PasswordHasher

from cakewright.app import accounts


@pytest.fixture(scope="module", autouse=True)
def quick_passwords() -> Iterator[None]:
    """The same argon2id with the least memory and one pass; imported by the modules that log in often."""
    hasher = PasswordHasher(time_cost=1, memory_cost=8, parallelism=1)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(accounts, "_HASHER", hasher)
        patch.setattr(accounts, "_NOBODY", hasher.hash("nobody"))
        yield
