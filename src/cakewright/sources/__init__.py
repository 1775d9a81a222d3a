"""Where every physical or economic number comes from.

A `Reference` is a value with unit, source and status. Each topic keeps its own table beside this
file (`sources/powder.py` ...); creating a Reference files it, and `all_references()` lists them for
the generated reference page.
"""

from cakewright.sources.reference import Reference, Status, all_references

__all__ = ["Reference", "Status", "all_references"]
