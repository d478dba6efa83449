"""What the demo says at its start, and where it can't be started."""

from __future__ import annotations

import asyncio
import os
import shlex
import sys
import tempfile
from pathlib import Path

import pytest
import typer

from portdraw.cli.demo import check_writable
from portdraw.cli.demo_words import DemoWords, switch_lines
from portdraw.service.clock import Clock

ADDRESSES = {"core": "127.0.0.1:16101", "north-pier": "127.0.0.1:16102"}


def test_the_switches_stand_one_in_a_line_with_a_whole_command(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sys, "argv", ["-c"])
    lines = list(switch_lines(ADDRESSES, tmp_path / "a b" / "settings.yaml", "terminal-v3"))
    assert lines[:3] == ["Switches:", "  core        127.0.0.1:16101", "  north-pier  127.0.0.1:16102"]
    assert shlex.split(lines[-1]) == [
        *(sys.executable, "-m", "portdraw", "probe", "127.0.0.1:16101"),
        *("--settings", str(tmp_path / "a b" / "settings.yaml"), "--access", "terminal-v3"),
    ]


def test_the_command_is_the_one_that_was_called(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    script = tmp_path / "portdraw"
    script.touch()
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(sys, "argv", ["./portdraw", "demo"])
    assert list(switch_lines(ADDRESSES, Path("s"), "v3"))[-1].split()[0] == str(script)


def test_a_folder_that_cant_be_written_is_said_at_the_start(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    check_writable(tmp_path)
    assert list(tmp_path.iterdir()) == []

    def refused(**_: object) -> None:
        raise PermissionError(13, os.strerror(13))

    monkeypatch.setattr(tempfile, "TemporaryFile", refused)  # whoever runs the tests may write everywhere
    with pytest.raises(typer.Exit) as ended:
        check_writable(tmp_path)
    assert ended.value.exit_code == 3
    assert capsys.readouterr().err == (
        f"the audit at the end is written into the folder you stand in, and {tmp_path} can't be written "
        "(Permission denied): change into a folder of your own, then start the demo there\n"
    )


def test_a_machine_that_is_too_busy_is_told_once(capsys: pytest.CaptureFixture[str]) -> None:
    notes = iter(["", "", "this machine is too busy"])
    asyncio.run(DemoWords("UTC", Clock(0.0, 15.0)).busy(lambda: next(notes), 0.0))
    assert capsys.readouterr().out == "00:00:00  note      this machine is too busy\n"
