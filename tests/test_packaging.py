"""The unit and the container file that are shipped: checked by the tools where these are there, and by their lines."""

from __future__ import annotations

import re
import shutil
import subprocess

import pytest

from tests.conftest import ROOT

UNIT, CONTAINER = ROOT / "packaging/cakewright.service", ROOT / "packaging/Containerfile"


def test_the_unit_is_valid(tmp_path):
    """`systemd-analyze verify` has nothing to say but that the program is not installed on this machine."""
    tool = shutil.which("systemd-analyze")
    if tool is None:
        pytest.skip("systemd-analyze is not on this machine: only the lines of the unit are checked")
    unit = tmp_path / "cakewright.service"
    there = re.sub(r"ExecStart=\S+", f"ExecStart={shutil.which('true')}", UNIT.read_text(encoding="utf-8"))
    unit.write_text(there, encoding="utf-8")
    done = subprocess.run([tool, "verify", str(unit)], capture_output=True, text=True, check=False, timeout=60)
    said = [line for line in (done.stdout + done.stderr).splitlines() if "cakewright.service" in line]
    assert said == []


def test_the_unit_stops_in_order_and_may_little():
    """SIGTERM with time to park work; no root, no new rights, one folder to write."""
    lines = UNIT.read_text(encoding="utf-8").splitlines()
    for wanted in ("User=cakewright", "KillSignal=SIGTERM", "TimeoutStopSec=90", "NoNewPrivileges=yes",
                   "ProtectSystem=strict", "StateDirectory=cakewright", "Restart=on-failure"):  # fmt: skip
        assert wanted in lines


def test_the_container_file_is_sound():
    """A fixed base, locked packages by hash, nobody's root, a health check, the program as the first process."""
    text = CONTAINER.read_text(encoding="utf-8")
    lines = [line for line in text.splitlines() if line and not line.startswith("#")]
    assert re.fullmatch(r"FROM python:3\.11-slim-\w+", lines[0])
    assert "--require-hashes -r requirements/core.lock" in text
    users = [n for n, line in enumerate(lines) if line.startswith("USER ")]
    entry = next(n for n, line in enumerate(lines) if line.startswith("ENTRYPOINT ["))
    assert users and users[-1] < entry and "USER root" not in text
    assert "/api/v1/health" in text
    assert "STOPSIGNAL SIGTERM" in lines
    for copied in re.findall(r"^COPY (.+) \S+$", text, re.MULTILINE):
        for name in copied.split():
            assert (ROOT / name).exists(), name


def test_the_container_builds_where_an_engine_runs():
    """Only where an engine answers, for it takes minutes and the network: asked for by CAKEWRIGHT_BUILD_CONTAINER."""
    import os

    engine = shutil.which("docker") or shutil.which("podman")
    answers = engine and subprocess.run([engine, "info"], capture_output=True, check=False, timeout=60).returncode == 0
    if not answers or not os.environ.get("CAKEWRIGHT_BUILD_CONTAINER"):
        why = "no container engine answers here" if not answers else "set CAKEWRIGHT_BUILD_CONTAINER to build it"
        pytest.skip(f"{why}: the container file is checked by its lines only")
    done = subprocess.run([engine, "build", "-q", "-f", str(CONTAINER), str(ROOT)], check=False, timeout=1800)
    assert done.returncode == 0
