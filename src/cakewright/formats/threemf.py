"""3MF, core specification 1.4: reading and writing packages. The parts are in threemf_*.py."""

from cakewright.formats.threemf_write import ThreeMfItem, write_3mf

__all__ = ["ThreeMfItem", "write_3mf"]
