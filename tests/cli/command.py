"""Runs `portdraw` as a person does: a process of its own, from outside. Every wait is bounded, each child ended."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent.parent
PATIENCE_S = 120.0  # generous: what is checked is what happens, not how fast this machine is


def environment(**more: str) -> dict[str, str]:
    """Return this process's environment, with our source root and without what would colour or buffer output."""
    kept = {name: value for name, value in os.environ.items() if not name.startswith(("PORTDRAW_", "FORCE_COLOR"))}
    return {**kept, "PYTHONPATH": str(ROOT / "agent"), "TERM": "dumb", **more}


def portdraw(
    *words: str, cwd: Path | None = None, more: Mapping[str, str] | None = None, within_s: float = PATIENCE_S
) -> subprocess.CompletedProcess[str]:
    """Run a command to its end. What it may never print is checked here, for all tests."""
    done = subprocess.run(
        [sys.executable, "-m", "portdraw", *words],
        cwd=cwd,
        env=environment(**(more or {})),
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        timeout=within_s,
    )
    assert "Traceback" not in done.stderr + done.stdout, done.stderr
    return done


class Child:
    """A command that goes on; its output is gathered line by line."""

    def __init__(self, words: tuple[str, ...], cwd: Path, more: Mapping[str, str], module: str = "portdraw") -> None:
        self.lines: list[str] = []
        self.errors: list[str] = []
        self.process = subprocess.Popen(
            [sys.executable, "-m", module, *words],
            cwd=cwd,
            env=environment(**more),
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        self._threads = [
            threading.Thread(target=_gather, args=(pipe, lines), daemon=True)
            for pipe, lines in ((self.process.stdout, self.lines), (self.process.stderr, self.errors))
        ]
        for thread in self._threads:
            thread.start()

    @property
    def output(self) -> str:
        """What it has printed so far."""
        return "\n".join(list(self.lines))

    @property
    def error_output(self) -> str:
        """What it has printed to standard error so far."""
        return "\n".join(list(self.errors))

    def until(self, text: str, within_s: float = PATIENCE_S) -> str:
        """Wait for a line that holds a text, in either output, and return it."""
        give_up = time.monotonic() + within_s
        while time.monotonic() < give_up:
            found = next((line for line in [*self.lines, *self.errors] if text in line), None)
            if found is not None:
                return found
            assert self.process.poll() is None or self._threads[0].is_alive(), self.output + self.error_output
            time.sleep(0.05)
        raise AssertionError(f"no line with {text!r} came:\n{self.output}\n{self.error_output}")

    def signal(self, number: signal.Signals) -> None:
        """Send a signal to this child alone."""
        self.process.send_signal(number)

    def end(self, within_s: float = PATIENCE_S) -> int:
        """Wait for its end and return its exit code."""
        code = self.process.wait(timeout=within_s)
        for thread in self._threads:
            thread.join(timeout=10)
        assert "Traceback" not in self.error_output, self.error_output
        return code


@contextmanager
def started(
    *words: str, cwd: Path, more: Mapping[str, str] | None = None, module: str = "portdraw"
) -> Iterator[Child]:
    """Start a command, or another module; whatever happens, it is gone at the end."""
    child = Child(words, cwd, more or {}, module)
    try:
        yield child
    finally:
        if child.process.poll() is None:
            child.process.kill()
            child.process.wait(timeout=10)


def _gather(pipe: Iterator[str] | None, lines: list[str]) -> None:
    for line in pipe or ():
        lines.append(line.rstrip("\n"))
