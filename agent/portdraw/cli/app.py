"""Where the command begins and how it ends: every known error is one sentence with its exit code.

Nothing of ours is imported before `main` runs, so that Ctrl-C while modules load is one line as well.
"""

from __future__ import annotations

import os
import sys

STOPPED = 130  # 128 and the number of SIGINT, as shells count
CANT_WRITE = 3


def main() -> None:
    """Run the command; every known error ends as one clear sentence and its exit code."""
    try:
        code = _run()
        if sys.stdout is not None:
            sys.stdout.flush()  # what can't be written is told here, not by the interpreter at its end
    except BrokenPipeError:
        _let_go_of_output()
        code = 0  # the reader of our output has had enough
    except OSError as error:
        if error.filename is not None or not _output_fails():
            raise
        _let_go_of_output()
        _say(f"the output can't be written: {error.strerror}")
        code = CANT_WRITE
    except KeyboardInterrupt:
        _say("stopped by Ctrl-C")
        # not sys.exit: where Ctrl-C came while a module was executed the interpreter would end itself by the signal
        os._exit(STOPPED)
    sys.exit(code)


def _run() -> int:
    """Return how the command ends."""
    from portdraw.cli.commands import app
    from portdraw.cli.problems import WRONG_INPUT, KnownErrors, tell

    try:
        app()
    except KnownErrors as error:
        tell(str(error))
        return WRONG_INPUT
    except SystemExit as end:
        return end.code if isinstance(end.code, int) else 0
    return 0


def _say(sentence: str) -> None:
    print(sentence, file=sys.stderr)


def _output_fails() -> bool:
    """Say whether it is our own output that can't be written: whether one more line end fails as well."""
    try:
        sys.stdout.write("\n")
        sys.stdout.flush()
    except OSError:
        return True
    return False


def _let_go_of_output() -> None:
    """Send what still waits to be written nowhere, or the interpreter would stumble over it at its end."""
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, sys.stdout.fileno())
    os.close(nowhere)
