"""How passwords are kept outside of tests."""

from argon2 import Type, extract_parameters

from cakewright.app.accounts import hash_of


def test_a_hash_costs_who_guesses():
    """Argon2id with the second recommendation of RFC 9106: 3 passes over 64 MiB in 4 lanes, each hash salted."""
    one, two = (hash_of("correct horse battery staple", "Ada") for _ in range(2))
    found = extract_parameters(one)
    assert (found.type, found.time_cost, found.parallelism) == (Type.ID, 3, 4)
    assert found.memory_cost >= 64 * 1024
    assert one != two
