"""How every command ends: by Ctrl-C, however early, and where its output can't be written."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest
from tests.cli.command import PATIENCE_S, environment
from tests.rehearsal.terminal import SITE_FILE

FULL = Path("/dev/full")  # Linux: every write to it fails with "No space left on device" (full(4))
INTERRUPTED = """
import builtins, os, signal, sys
usual = builtins.__import__
def interrupted(name, *more):
    if name == "portdraw.cli.commands":
        os.kill(os.getpid(), signal.SIGINT)
    return usual(name, *more)
builtins.__import__ = interrupted
sys.argv = ["portdraw", "plan", "site.yaml"]
from portdraw.cli.app import main
main()
"""


def test_ctrl_c_while_modules_load_is_one_line() -> None:
    done = subprocess.run(
        [sys.executable, "-c", INTERRUPTED], env=environment(), capture_output=True, text=True, timeout=PATIENCE_S
    )
    assert (done.returncode, done.stdout, done.stderr) == (130, "", "stopped by Ctrl-C\n")


def test_nothing_of_ours_is_loaded_before_the_command_can_be_stopped() -> None:
    loaded = "import sys, portdraw.cli.app; print([name for name in sys.modules if name.startswith('portdraw')])"
    done = subprocess.run(
        [sys.executable, "-c", loaded], env=environment(), capture_output=True, text=True, timeout=PATIENCE_S
    )
    assert done.stdout == "['portdraw', 'portdraw.cli', 'portdraw.cli.app']\n"


@pytest.mark.skipif(not FULL.exists(), reason="this system has no /dev/full")
@pytest.mark.parametrize("unbuffered", ["", "1"])
@pytest.mark.parametrize("words", [["plan", str(SITE_FILE)], ["export", "schema", "site"], ["--version"], ["--help"]])
def test_output_that_cant_be_written_is_one_line_and_code_3(words: list[str], unbuffered: str) -> None:
    with FULL.open("w") as full:
        done = subprocess.run(
            [sys.executable, "-m", "portdraw", *words],
            env=environment(PYTHONUNBUFFERED=unbuffered),
            stdout=full,
            stderr=subprocess.PIPE,
            text=True,
            timeout=PATIENCE_S,
        )
    assert (done.returncode, done.stderr) == (3, "the output can't be written: No space left on device\n")


def test_a_reader_who_has_had_enough_is_no_error() -> None:
    reading, writing = os.pipe()
    os.close(reading)
    done = subprocess.run(
        [sys.executable, "-m", "portdraw", "plan", str(SITE_FILE)],
        env=environment(),
        stdout=writing,
        stderr=subprocess.PIPE,
        text=True,
        timeout=PATIENCE_S,
    )
    os.close(writing)
    assert done.stderr == ""
