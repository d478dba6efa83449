"""deploy/setup.sh, with a stand-in for Python that makes no environment but says what it was asked."""

from __future__ import annotations

import os
import shutil
import subprocess
from pathlib import Path

import pytest
from tests.requirements import need_program

ROOT = Path(__file__).resolve().parents[2]
STAND_IN = """#!/bin/sh
echo "$@" >>"$ASKED"
if [ "$1 $2" = "-m venv" ]; then
  mkdir -p "$3/bin"
  cp "$0" "$3/bin/python"
  cp "$0" "$3/bin/portdraw"
fi
"""


class Setup:
    """Folders with what setup.sh needs, and a log of what Python was asked."""

    def __init__(self, folder: Path):
        self.asked = folder / "asked"
        self.python = folder / "python-stand-in"
        self.python.write_text(STAND_IN, encoding="utf-8")
        self.python.chmod(0o755)
        self.source = folder / "source"
        (self.source / "deploy").mkdir(parents=True)
        for name in ("deploy/setup.sh", "deploy/constraints.txt", "pyproject.toml"):
            shutil.copy(ROOT / name, self.source / name)

    def made_by(self, folder: Path, *words: str) -> bool:
        """Run setup.sh of the folder; say whether it made an environment."""
        self.asked.write_text("", encoding="utf-8")
        command = [need_program("sh"), str(folder / "deploy" / "setup.sh"), *words]
        environment = {"PATH": "/usr/bin:/bin", "PORTDRAW_PYTHON": str(self.python), "ASKED": str(self.asked)}
        subprocess.run(command, env=environment, check=True, capture_output=True, timeout=60)
        return "-m venv" in self.asked.read_text(encoding="utf-8")


@pytest.fixture
def setup(tmp_path: Path) -> Setup:
    return Setup(tmp_path)


def test_it_is_made_once(setup: Setup) -> None:
    assert setup.made_by(setup.source)
    assert not setup.made_by(setup.source)
    assert setup.made_by(setup.source, "dev")
    assert not setup.made_by(setup.source)  # with what development needs it has what running needs


def test_a_copied_folder_makes_its_own(setup: Setup) -> None:
    """An environment's scripts name the folder that it was made in."""
    setup.made_by(setup.source)
    copied = setup.source.parent / "elsewhere"
    shutil.copytree(setup.source, copied)
    assert setup.made_by(copied)
    assert not setup.made_by(copied)


def test_other_versions_make_it_anew(setup: Setup) -> None:
    setup.made_by(setup.source)
    with (setup.source / "deploy" / "constraints.txt").open("a", encoding="utf-8") as file:
        file.write("# one more line\n")
    assert setup.made_by(setup.source)


def test_another_python_makes_it_anew(setup: Setup) -> None:
    setup.made_by(setup.source)
    other = setup.python.with_name("another-python")
    shutil.copy(setup.python, other)
    setup.python = other
    assert setup.made_by(setup.source)


def test_a_service_of_another_user_may_read_it(setup: Setup) -> None:
    before = os.umask(0o077)
    try:
        setup.made_by(setup.source)
    finally:
        os.umask(before)
    assert (setup.source / ".venv" / "bin").stat().st_mode & 0o777 == 0o755


def test_an_environment_whose_python_is_gone_is_made_anew(setup: Setup) -> None:
    setup.made_by(setup.source)
    (setup.source / ".venv" / "bin" / "python").unlink()
    assert setup.made_by(setup.source)
