"""`cakewright serve`: settings from the command, the environment and a file, then the pages."""

from __future__ import annotations

import os
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import typer

OF_OPTION = {"names": "name"}  # where an option is called otherwise than its setting


def run_serve(context: typer.Context, file: Path | None, asked: Mapping[str, Any], new: bool) -> None:
    """Serve until told to stop. InputError names the setting that cannot be used."""
    from cakewright.app.logs import set_up
    from cakewright.app.serve import Care, Door, serve
    from cakewright.app.settings import serve_settings

    given = {name: value for name, value in asked.items() if _is_on_command(context, OF_OPTION.get(name, name))}
    s = serve_settings(file, os.environ, given)
    set_up(s.log, s.log_level)
    door = Door(_path(s.certificate), _path(s.key), s.behind_tls, s.names)
    care = Care(s.stop_seconds, _path(s.backups), s.backup_hours, s.requests_per_minute)
    serve(s.db, host=s.host, port=s.port, is_new=new, door=door, care=care)


def _is_on_command(context: typer.Context, option: str) -> bool:
    source = context.get_parameter_source(option)
    return source is not None and source.name == "COMMANDLINE"


def _path(text: str) -> Path | None:
    return Path(text) if text else None
