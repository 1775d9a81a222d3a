"""Static files: checked again by their stamp, so that a new version of the program is seen at once."""

from __future__ import annotations

import os

from starlette.responses import Response
from starlette.staticfiles import StaticFiles
from starlette.types import Scope


class LastingFiles(StaticFiles):
    """Files the browser keeps but asks about: 'no-cache' means 'ask whether it changed', which costs a millisecond."""

    def __init__(self, directory: os.PathLike[str]) -> None:
        """The files of a folder, and the style sheets that pages share with papers."""
        super().__init__(directory=directory, packages=[("cakewright.documents", "drawn")])

    def file_response(
        self, full_path: os.PathLike[str] | str, stat_result: os.stat_result, scope: Scope, status_code: int = 200
    ) -> Response:
        """The file, to be kept and asked about."""
        answer = super().file_response(full_path, stat_result, scope, status_code)
        answer.headers["cache-control"] = "no-cache"
        return answer
