"""`portdraw restart` from outside: output and exit codes."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
import typer
from tests.plan.samples import SMALL
from typer.testing import CliRunner

import portdraw.rehearsal
from portdraw.cli.restart import restart

FERRY_TERMINAL = Path(portdraw.rehearsal.__path__[0]) / "site.yaml"
APP = typer.Typer()
APP.command()(restart)


def run(*words: str) -> tuple[int, str, str]:
    result = CliRunner().invoke(APP, list(words))
    return result.exit_code, result.stdout, result.stderr


def test_the_ferry_terminal_as_tables() -> None:
    code, out, _ = run(str(FERRY_TERMINAL))
    assert code == 1
    assert all(len(line) <= 100 for line in out.splitlines())
    for text in ("3 of 9 courses", "core budget", "From second to second", "Start delays that help", "without end"):
        assert text in out


def test_one_failure_that_comes_back_cleanly() -> None:
    code, out, _ = run(str(FERRY_TERMINAL), "--after", "ups-a run flat", "--load", "night")
    assert code == 0
    assert "Everything comes back by itself, within every limit; at the longest after 3 min." in out


def test_as_json() -> None:
    code, out, _ = run(
        str(FERRY_TERMINAL), "--json", "--load", "night", "--after", "all local AC without a generator"
    )
    assert code == 0
    document = json.loads(out)
    (course,) = document["courses"]
    # worked example, night: 460.4 W asked of 440 W at the instant, three devices shed
    instant = course["changeover"]["stages"][0]
    (core,) = [limit for limit in instant["limits"] if limit["limit"] == "core budget"]
    assert f"{core['drawn_w']:.1f}" == "460.4"
    assert set(instant["dark"]) == {"foyer-sign", "office-phone-1", "office-phone-2"}
    assert course["full_service_s"] == 70.0
    assert set(course["shed_on_the_way"]) == set(instant["dark"])


def test_a_port_that_never_asks_again() -> None:
    words = (str(FERRY_TERMINAL), "--load", "night", "--after", "all local AC without a generator")
    assert run(*words, "--retry", "0")[0] == 1


def test_a_small_site(tmp_path: Path) -> None:
    file = tmp_path / "site.yaml"
    file.write_text(SMALL)
    code, out, _ = run(str(file))
    assert code in (0, 1)
    assert "Everything was dark, all power comes back" in out


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--after", "circuit moon"), "no failure is called 'circuit moon'"),
        (("--retry", "nan"), "--retry nan is neither 0 nor between 1 and 3600 seconds"),
        (("--retry", "-5"), "--retry -5 is neither"),
    ],
)
def test_wrong_words(words: tuple[str, ...], said: str) -> None:
    code, out, err = run(str(FERRY_TERMINAL), *words)
    assert (code, out) == (2, "")
    assert said in err
