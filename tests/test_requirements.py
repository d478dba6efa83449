"""A skip is a skip for people and a failure for CI."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
SKIPPING = """
from tests.requirements import need_program

def test_needs_what_nobody_has():
    need_program("portdraw-no-such-program")
"""
SKIPPING_FILE = """
import pytest

pytest.skip("not here", allow_module_level=True)
"""


@pytest.mark.parametrize("ci", ["true", ""])
def test_skip_fails_only_under_ci(tmp_path: Path, ci: str) -> None:
    (tmp_path / "test_sample.py").write_text(SKIPPING)
    (tmp_path / "test_sample_file.py").write_text(SKIPPING_FILE)
    (tmp_path / "conftest.py").write_text("from tests.conftest import *  # noqa: F403\n")
    command = [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", "-c", os.devnull]
    command += [f"--rootdir={tmp_path}", "--import-mode=importlib", "--continue-on-collection-errors", str(tmp_path)]
    environment = {**os.environ, "CI": ci, "PYTHONPATH": str(ROOT), "PYTEST_DISABLE_PLUGIN_AUTOLOAD": "1"}
    done = subprocess.run(command, cwd=tmp_path, env=environment, capture_output=True, text=True, timeout=60)
    if ci:
        assert done.stdout.count("CI=true does not allow") >= 2
        assert "portdraw-no-such-program is not installed here" in done.stdout
        assert done.returncode == 1
    else:
        assert "2 skipped" in done.stdout
        assert done.returncode in (0, 5)
