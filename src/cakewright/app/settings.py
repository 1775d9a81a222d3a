"""How the pages are served: from a file, the environment or the command, each setting checked and documented here."""

from __future__ import annotations

import difflib
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any

from cakewright.errors import InputError

PREFIX = "CAKEWRIGHT_"
FILE_VARIABLE = f"{PREFIX}SETTINGS"
_YES, _NO = ("yes", "true", "1", "on"), ("no", "false", "0", "off")
_KINDS = {str: "a text", int: "a whole number", float: "a number", bool: "true or false", tuple: "a list of texts"}


@dataclass(frozen=True, slots=True)
class Setting:
    """One setting: its name in the file, what it is, and what it may be."""

    name: str
    kind: type
    default: Any
    meaning: str
    one_of: tuple[str, ...] = ()
    least: float | None = None
    most: float | None = None

    @property
    def variable(self) -> str:
        """Its name in the environment."""
        return f"{PREFIX}{self.name.upper()}"


SETTINGS = (
    Setting("db", str, "plans/cakewright.sqlite", "The database: a file, or postgresql://name@host/database."),
    Setting("host", str, "127.0.0.1", "Address to listen on; any other than this machine's demands accounts and TLS."),
    Setting("port", int, 8765, "Port to listen on; 0 takes a free one.", least=0, most=65535),
    Setting("certificate", str, "", "TLS certificate (PEM file)."),
    Setting("key", str, "", "Its key (PEM file)."),
    Setting("behind_tls", bool, False, "A proxy in front speaks TLS."),
    Setting("names", tuple, (), "Names by which others call this machine; in the environment with commas between."),
    Setting("log", str, "text", "How the log is written.", one_of=("text", "json")),
    Setting("log_level", str, "warning", "From which weight on; info names every request.",
            one_of=("info", "warning", "error")),
    Setting("backups", str, "", "Folder for backups made while the pages are served; empty: none."),
    Setting("backup_hours", float, 24.0, "Hours between these backups.", least=0.01, most=24.0 * 31),
    Setting("stop_seconds", float, 10.0, "How long work under way may go on after the order to stop; then parked.",
            least=0.0, most=3600.0),
    Setting("requests_per_minute", int, 600, "Requests of one account (or address) in a minute, where accounts are "
            "asked for; 0: no limit.", least=0, most=1_000_000),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class ServeSettings:
    """Every setting with its value."""

    db: str
    host: str
    port: int
    certificate: str
    key: str
    behind_tls: bool
    names: tuple[str, ...]
    log: str
    log_level: str
    backups: str
    backup_hours: float
    stop_seconds: float
    requests_per_minute: int


def serve_settings(
    file: Path | None, environment: Mapping[str, str], given: Mapping[str, Any] | None = None
) -> ServeSettings:
    """The settings: what is `given` on the command counts first, then the environment, the file, the default.

    InputError names file or variable and setting for what is unknown, of the wrong kind or out of range.
    """
    file = file or (Path(environment[FILE_VARIABLE]) if environment.get(FILE_VARIABLE) else None)
    content = _read(file) if file is not None else {}
    _refuse_unknown(content, [s.name for s in SETTINGS], str(file))
    strange = {n: v for n, v in environment.items() if n.startswith(PREFIX) and not n.startswith(_FOR_DEVELOPERS)}
    strange = {n: v for n, v in strange.items() if n not in _KNOWN}
    _refuse_unknown(strange, sorted(_KNOWN), "environment")
    values: dict[str, Any] = {}
    for setting in SETTINGS:
        if setting.name in (given or {}):
            values[setting.name] = _checked(setting, (given or {})[setting.name], "command line")
        elif environment.get(setting.variable):
            values[setting.name] = _checked(setting, _of_text(setting, environment[setting.variable]), setting.variable)
        elif setting.name in content:
            values[setting.name] = _checked(setting, content[setting.name], f"{file}, {setting.name}")
        else:
            values[setting.name] = setting.default
    return ServeSettings(**values)


_KNOWN = {s.variable for s in SETTINGS} | {FILE_VARIABLE, f"{PREFIX}CLUSTER", f"{PREFIX}FILES"}
_FOR_DEVELOPERS = (f"{PREFIX}TEST_", f"{PREFIX}BUILD_")
assert {f.name for f in fields(ServeSettings)} == {s.name for s in SETTINGS}


def _read(file: Path) -> dict[str, Any]:
    try:
        return tomllib.loads(file.read_text(encoding="utf-8"))
    except OSError as wrong:
        raise InputError(f"cannot be read: {wrong.strerror}", remedy="name another file", where=str(file)) from wrong
    except (tomllib.TOMLDecodeError, UnicodeDecodeError, RecursionError) as wrong:
        raise InputError(
            f"is no TOML file: {wrong}", remedy="write lines such as port = 8765", where=str(file)
        ) from wrong


def _refuse_unknown(content: Mapping[str, Any], known: list[str], where: str) -> None:
    for name in content:
        if name not in known:
            near = difflib.get_close_matches(name, known, n=1)
            remedy = f"did you mean {near[0]}?" if near else f"there are: {', '.join(known)}"
            raise InputError(f"there is no setting {name[:60]!r}", remedy=remedy, where=where)


def _of_text(setting: Setting, text: str) -> Any:
    if setting.kind is tuple:
        return tuple(word.strip() for word in text.split(",") if word.strip())
    if setting.kind is bool and text.lower() in (*_YES, *_NO):
        return text.lower() in _YES
    if setting.kind in (int, float):
        try:
            return setting.kind(text)
        except ValueError:
            return text  # and is refused as what it is
    return text


def _checked(setting: Setting, value: Any, where: str) -> Any:
    if setting.kind is tuple and isinstance(value, list):
        value = tuple(value)
    if setting.kind is float and isinstance(value, int) and not isinstance(value, bool):
        value = float(value)
    is_kind = isinstance(value, setting.kind) and not (setting.kind is int and isinstance(value, bool))
    if not is_kind or (setting.kind is tuple and not all(isinstance(word, str) for word in value)):
        raise InputError(f"{value!r} for {setting.name}", remedy=f"give {_KINDS[setting.kind]}", where=where)
    if setting.one_of and value not in setting.one_of:
        raise InputError(f"{value!r} for {setting.name}", remedy=f"one of: {', '.join(setting.one_of)}", where=where)
    low, high = setting.least, setting.most
    if low is not None and high is not None and not low <= value <= high:
        raise InputError(f"{value} for {setting.name}", remedy=f"give {low:g} to {high:g}", where=where)
    return value
