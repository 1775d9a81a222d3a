"""Work that does what a bad file might make a reader do; run in a process of its own only."""

import os


def eat_memory(_report):
    """More than any limit."""
    return [bytearray(50_000_000) for _ in range(10_000)]


def go_on_for_ever(_report):
    """A loop without an end."""
    while True:
        pass


def vanish(_report):
    """The process is gone, without a word."""
    os._exit(3)
