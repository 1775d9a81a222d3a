"""The error family.

    CakewrightError (also a ValueError)
    ├── InputError            something a person gave us cannot be used
    │   ├── OrderListError      a row or column of an order list
    │   ├── CellError           a cell file
    │   ├── MeshFileError       a mesh file cannot be read
    │   └── GeometryError       a mesh or placement that cannot exist
    ├── DoesNotFitError       a part has no place in any allowed orientation
    ├── NoCalendarError       no working hours in which a task could be done
    ├── NotConvergedError     a numerical method did not reach its tolerance
    └── StoreError            the database cannot do what was asked
        └── BusyError         somebody else is writing; the same deed may work in a moment

Every message says what was found, what was expected and what to do. `where` names file, line
or part so that a caller can print `where: message`.
"""

import errno


class CakewrightError(ValueError):
    """Base of all errors raised on purpose.

    Parameters
    ----------
    found
        What is the case.
    remedy
        What the person can do about it.
    where
        File, line, part or setting: where to look.
    """

    code = "error"

    def __init__(self, found: str, *, remedy: str = "", where: str = "") -> None:
        self.found = found
        self.remedy = remedy
        self.where = where
        super().__init__(self.text)

    @property
    def text(self) -> str:
        """The whole message on one line."""
        head = f"{self.where}: " if self.where else ""
        tail = f" -> {self.remedy}" if self.remedy else ""
        return f"{head}{self.found}{tail}"

    def __reduce__(self) -> tuple[object, ...]:
        """Keep keyword arguments when an error crosses a process boundary."""
        return (_rebuild, (type(self), self.found, self.remedy, self.where))


def _rebuild(kind: type[CakewrightError], found: str, remedy: str, where: str) -> CakewrightError:
    return kind(found, remedy=remedy, where=where)


class InputError(CakewrightError):
    """Something a person gave us cannot be used."""

    code = "input"


class OrderListError(InputError):
    """A row or a column of an order list cannot be used."""

    code = "order-list"


class CellError(InputError):
    """A cell file cannot be used."""

    code = "cell"


class MeshFileError(InputError):
    """A mesh file cannot be read."""

    code = "mesh-file"


class GeometryError(InputError):
    """A mesh, a transform or a placement that cannot exist."""

    code = "geometry"


class DoesNotFitError(CakewrightError):
    """A part has no place in any allowed orientation."""

    code = "does-not-fit"


class NoCalendarError(CakewrightError):
    """There are no working hours in which a task could be done."""

    code = "no-calendar"


class NotConvergedError(CakewrightError):
    """A numerical method did not reach its tolerance."""

    code = "not-converged"


class StoreError(CakewrightError):
    """The database cannot do what was asked."""

    code = "store"


_DISK = {
    errno.ENOSPC: ("the disk is full", "make room on the disk, then do it again; what was kept before is as it was"),
    errno.EDQUOT: ("your share of the disk is used up", "make room, or ask for more, then do it again"),
    errno.EFBIG: ("the file would be larger than this disk allows", "use another disk, or split the work"),
    errno.EROFS: ("the disk is read-only", "name a folder on a disk that may be written"),
    errno.EACCES: ("this may not be read or written by you", "mend the rights, or name another folder"),
    errno.EPERM: ("this may not be changed by you", "mend the rights, or name another folder"),
    errno.EIO: ("the disk refused to read or write", "check the disk, then restore a backup"),
}


def disk_trouble(wrong: OSError) -> StoreError | None:
    """What a disk said, in our words; None when the error is not about a disk that is full, locked or broken."""
    if wrong.errno not in _DISK:
        return None
    found, remedy = _DISK[wrong.errno]
    return StoreError(found, remedy=remedy, where=str(wrong.filename or ""))


class BusyError(StoreError):
    """Somebody else is writing to the database: nothing was changed, and the same deed may work in a moment."""

    code = "busy"
