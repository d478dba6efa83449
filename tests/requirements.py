"""What a test needs beyond Python: real programs and recorded agents. A skip says what is missing and how to get it.

With CI=true no test may be skipped: tests/conftest.py turns every skip into a failure.
"""

from __future__ import annotations

import base64
import hashlib
import os
import shutil
import subprocess
import tarfile
import tempfile
from pathlib import Path

import pytest

PACKAGES = {
    "snmpd": "snmpd",
    "snmpbulkwalk": "snmp",
    "snmptrap": "snmp",
    "snmpinform": "snmp",
    "prometheus": "prometheus",
    "promtool": "prometheus",
    "prometheus-alertmanager": "prometheus-alertmanager",
    "amtool": "prometheus-alertmanager",
    "systemd-analyze": "systemd",
    "kubectl": "kubernetes-client",
    "rsyslogd": "rsyslog rsyslog-openssl rsyslog-gnutls",
    "chromium": "chromium",
    "npm": "npm",
    "ngspice": "ngspice",
}
RECORDINGS = "PORTDRAW_RECORDINGS"
AXE_VERSION = "4.14.1"
# SHA-512 of the package, as the registry states it (Subresource Integrity, section 3.1)
AXE_DIGEST = "FHfa+lmNjQZfJz1q8wKqIDwC6DExcHt/pkjNQb09a3NPjCKg2rhu5qb2S4r76ASyFNNtuFooJpZe37OgudVGtQ=="


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


def need_axe() -> str:
    """Return the script of axe-core, the accessibility checks, or skip the test that asks for it.

    Fetched once with npm into a folder under the system's temporary one; a package with another digest is refused.
    """
    folder = Path(tempfile.gettempdir()) / f"portdraw-axe-core-{AXE_VERSION}-{os.getuid()}"
    package = folder / f"axe-core-{AXE_VERSION}.tgz"
    if not package.is_file():
        npm = need_program("npm")
        folder.mkdir(mode=0o700, exist_ok=True)
        with tempfile.TemporaryDirectory(dir=folder) as fresh:
            asked = [npm, "pack", f"axe-core@{AXE_VERSION}", "--pack-destination", fresh]
            try:
                done = subprocess.run(asked, capture_output=True, text=True, timeout=120, check=False)
            except subprocess.TimeoutExpired:
                pytest.skip(f"npm could not fetch axe-core {AXE_VERSION} within two minutes")
            if done.returncode:
                pytest.skip(f"npm could not fetch axe-core {AXE_VERSION}: {done.stderr.strip()[-200:]}")
            (Path(fresh) / package.name).replace(package)
    digest = base64.b64encode(hashlib.sha512(package.read_bytes()).digest()).decode()
    assert digest == AXE_DIGEST, f"{package} is not the package that is pinned here; delete it"
    with tarfile.open(package) as archive:
        script = archive.extractfile("package/axe.min.js")
        assert script is not None
        return script.read().decode()
