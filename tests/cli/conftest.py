"""One run of the demo for all tests that look at it, and commands called within this process for long tables."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable

import pytest
from tests.cli.demo_run import DemoRun, watch_demo
from tests.requirements import RECORDINGS

from portdraw.cli.app import main

Call = Callable[..., "subprocess.CompletedProcess[str]"]


@pytest.fixture(scope="session")
def demo_run(tmp_path_factory: pytest.TempPathFactory) -> DemoRun:
    """Run the demo once, to its end."""
    return watch_demo(tmp_path_factory.mktemp("demo"))


@pytest.fixture
def call(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Call:
    """Call a command by its own entry function: the same words, outputs and exit code, without a process."""

    def called(*words: str, more: dict[str, str] | None = None) -> subprocess.CompletedProcess[str]:
        for name in [name for name in os.environ if name.startswith("PORTDRAW_") and name != RECORDINGS]:
            monkeypatch.delenv(name)
        for name, value in (more or {}).items():
            monkeypatch.setenv(name, value)
        monkeypatch.setattr(sys, "argv", ["portdraw", *words])
        with pytest.raises(SystemExit) as ended:
            main()
        told = capsys.readouterr()
        code = ended.value.code
        assert isinstance(code, int)
        return subprocess.CompletedProcess(words, code, told.out, told.err)

    return called
