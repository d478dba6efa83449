"""What a test needs beyond Python: real programs and recorded agents. A skip says what is missing and how to get it.

With CI=true no test may be skipped: tests/conftest.py turns every skip into a failure.
"""

from __future__ import annotations

import os
import shutil
from pathlib import Path

import pytest

PACKAGES = {
    "snmpd": "snmpd",
    "snmpbulkwalk": "snmp",
    "prometheus": "prometheus",
    "promtool": "prometheus",
    "chromium": "chromium",
    "ngspice": "ngspice",
}
RECORDINGS = "PORTDRAW_RECORDINGS"


def need_program(name: str) -> str:
    """Return the path of a program, or skip the test that asks for it."""
    path = shutil.which(name) or shutil.which(name, path="/usr/sbin:/sbin:/usr/local/sbin")
    if path is None:
        package = PACKAGES.get(name, name)
        pytest.skip(f"the program {name} is not installed here (Debian package {package})")
    return path


def need_recordings() -> Path:
    """Return the folder of recorded agents, or skip the test that asks for it."""
    value = os.environ.get(RECORDINGS, "")
    if not value:
        pytest.skip(f"{RECORDINGS} is not set: it names the folder of recorded agents")
    folder = Path(value)
    if not folder.is_dir():
        pytest.skip(f"{RECORDINGS} names {folder}, which is not a folder")
    return folder
