"""`portdraw audit`, from the command line to the files. The clock stands still: the history holds the day before."""

from __future__ import annotations

import json
from datetime import timedelta
from pathlib import Path

import pytest
from tests.reporting.audit.small_site import DAY, DAY_S, HOUR_S, START_S, TEXT, one_day
from typer.testing import CliRunner

from portdraw.cli.commands import app
from portdraw.cli.problems import COULD_NOT_READ, FINDINGS, WRONG_INPUT
from portdraw.history.store import History
from portdraw.service.clock import Clock

YESTERDAY = DAY
NOW_S = START_S + DAY_S + 10 * HOUR_S
SETTINGS = "format: 1\nsite: site.yaml\nhistory: {folder: history}\naccess: {}\n"


@pytest.fixture
def settings(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A settings file with its site beside it."""
    monkeypatch.setattr(Clock, "now_s", lambda self: NOW_S)
    (tmp_path / "site.yaml").write_text(TEXT)
    path = tmp_path / "settings.yaml"
    path.write_text(SETTINGS)
    return path


def history_of(settings: Path, emulated: bool = False) -> None:
    """Write yesterday into the history."""
    history = History.open(settings.parent / "history", "Atlantic/Faroe", emulated=emulated)
    one_day(history)
    history.close()


def test_an_audit_of_yesterday(settings: Path, tmp_path: Path) -> None:
    """Files are written, findings told, exit code 1 for what is to act on."""
    history_of(settings)
    out = tmp_path / "out"
    asked = [
        "audit",
        "--settings",
        str(settings),
        "--from",
        str(YESTERDAY),
        "--to",
        str(YESTERDAY),
        "--out",
        str(out),
    ]
    result = CliRunner().invoke(app, asked)
    assert result.exit_code == FINDINGS, result.output
    assert "to act on: pier port 5: Unplanned device" in result.output
    assert "EMULATED" not in result.output
    assert (out / f"audit-{YESTERDAY}-to-{YESTERDAY}.html").is_file()
    assert len(list(out.iterdir())) == 6


def test_json_writes_no_file(settings: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The document on standard output; an emulated history says so."""
    history_of(settings, emulated=True)
    empty = tmp_path / "empty"
    empty.mkdir()
    monkeypatch.chdir(empty)
    result = CliRunner().invoke(app, ["audit", "--settings", str(settings), "--days", "2", "--json"])
    document = json.loads(result.stdout)
    assert document["emulated"] is True
    assert document["first_day"] == str(YESTERDAY)
    assert list(empty.iterdir()) == []


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["--from", "yesterday"], "is no day; write it as"),
        (["--from", "2026-03-02", "--to", "2026-03-01"], "the period has no time in it"),
        (["--from", "2999-01-01"], "the period has no time in it"),
    ],
)
def test_wrong_periods(settings: Path, arguments: list[str], said: str) -> None:
    """One sentence, exit code 2."""
    history_of(settings)
    result = CliRunner().invoke(app, ["audit", "--settings", str(settings), *arguments])
    assert result.exit_code == WRONG_INPUT
    assert said in result.output
    assert "Traceback" not in result.output


def test_a_period_without_readings(settings: Path, tmp_path: Path) -> None:
    """The history has yesterday only; an audit of an older day says that it says nothing, exit code 3."""
    history_of(settings)
    before = str(YESTERDAY - timedelta(days=5))
    asked = ["audit", "--settings", str(settings), "--from", before, "--to", before, "--out", str(tmp_path / "out")]
    result = CliRunner().invoke(app, asked)
    assert result.exit_code == COULD_NOT_READ
    assert "nothing was read" in result.output


def test_a_folder_that_cannot_be_written(settings: Path, tmp_path: Path) -> None:
    """One sentence, exit code 3, the file in the way untouched."""
    history_of(settings)
    (tmp_path / "file").write_text("mine")
    result = CliRunner().invoke(app, ["audit", "--settings", str(settings), "--out", str(tmp_path / "file")])
    assert result.exit_code == COULD_NOT_READ
    assert "can't be written" in result.output
    assert (tmp_path / "file").read_text() == "mine"


@pytest.mark.parametrize("arguments", [["--live", "1", "--days", "3"], ["--from", "2026-03-01", "--days", "3"]])
def test_no_option_is_left_unheard(settings: Path, arguments: list[str]) -> None:
    result = CliRunner().invoke(app, ["audit", "--settings", str(settings), *arguments])
    assert result.exit_code == WRONG_INPUT
    assert "leave" in result.output
    assert result.output.count("\n") == 1


def test_a_second_audit_of_the_same_days_says_that_it_has_a_number(settings: Path, tmp_path: Path) -> None:
    history_of(settings)
    out = tmp_path / "out"
    asked = ["audit", "--settings", str(settings), "--days", "2", "--out", str(out)]
    first, second = CliRunner().invoke(app, asked), CliRunner().invoke(app, asked)
    assert "is there already" not in first.output
    assert "is there already and stays as it is; this one has a number\n" in second.output
    assert not second.output.startswith("\n")
    assert len(list(out.iterdir())) == 12


def test_a_long_period_with_little_read_is_told_in_few_lines(settings: Path, tmp_path: Path) -> None:
    """180 days of which one was read: what is the same of several ports is one line."""
    history_of(settings)
    asked = ["audit", "--settings", str(settings), "--days", "180", "--out", str(tmp_path / "out")]
    result = CliRunner().invoke(app, asked)
    little = [line for line in result.output.splitlines() if "Read for less than 1 % of the period only." in line]
    (line,) = little
    places = "5 places: core, pier, core port 1 (pier), pier port 1 (pier-cam) and pier port 2 (pier-sign)"
    assert line.startswith(f"to look at: {places}: ")
    page = next((tmp_path / "out").glob("*.html")).read_text()
    assert f"<td>{places}</td>" in page
