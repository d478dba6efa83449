"""What every command says about itself, and how wrong words end."""

from __future__ import annotations

import pytest
from tests.cli.command import portdraw
from tests.cli.conftest import Call

from portdraw.cli.commands import app

COMMANDS = [str(command.name) for command in app.registered_commands]


def test_the_list_of_commands() -> None:
    done = portdraw("--help")
    assert done.returncode == 0
    assert COMMANDS == [
        "demo",
        "plan",
        "failures",
        "restart",
        "fit",
        "probe",
        "discover",
        "run",
        "status",
        "alarms",
        "audit",
        "tell",
        "export",
    ]
    for name in COMMANDS:
        assert f"\n  {name} " in done.stdout


@pytest.mark.parametrize("name", COMMANDS)
def test_each_command_says_what_it_does(name: str) -> None:
    done = portdraw(name, "--help")
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout.startswith("Usage: ")
    assert "--help" in done.stdout
    if name != "demo":  # it ends with 0 or with what went wrong; the others promise more
        assert "Exit code" in done.stdout


def test_no_command_shows_the_list() -> None:
    done = portdraw()
    assert done.returncode == 2
    assert "Commands:" in done.stdout + done.stderr


@pytest.mark.parametrize(
    "words",
    [["repair"], ["plan"], ["run"], ["plan", "a", "b"], ["demo", "--for", "soon"], ["demo", "--for", "0"], ["probe"]],
)
def test_wrong_words_are_code_2_and_said(call: Call, words: list[str]) -> None:
    done = call(*words)
    assert done.returncode == 2
    assert done.stdout == ""
    assert "Usage: " in done.stderr
