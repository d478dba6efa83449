"""`portdraw restart` from outside: output and exit codes."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
import typer
from tests.cli.test_fit import RING
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


def test_the_change_of_legs_of_one_circuit() -> None:
    code, out, _ = run(str(FERRY_TERMINAL), "--after", "circuit pier-7", "--load", "frost")
    assert code == 0
    for text in ("at the instant", "after renegotiation", "while all starts", "after start-up"):
        assert text in out
    # worked example, frost night: 67.5 W at its PoE input of 71.3 W
    assert "north-pier: 67.5 W at its PoE input of 71.3 W granted, it stays in its class" in out


def test_every_circuit_and_all_unbacked_ac_have_their_change_of_legs() -> None:
    code, out, _ = run(str(FERRY_TERMINAL), "--json")
    assert code == 1
    steps = json.loads(out)["changes_of_legs"]
    circuits = ("hall-1", "hall-2", "pier-7", "quay-3", "gate-5")
    wanted = {f"circuit {name}" for name in circuits} | {"all local AC without a generator"}
    assert {step["failure"] for step in steps} == wanted
    assert len(steps) == 3 * len(wanted)


def test_what_does_not_come_back_as_it_was() -> None:
    """At night three ports are shed (worked example); they stay off where nothing asks again."""
    words = (str(FERRY_TERMINAL), "--load", "night", "--after", "all local AC without a generator", "--retry", "0")
    code, out, _ = run(*words)
    assert code == 1
    assert "core port 17: port stuck, before on (foyer-sign), 14.3 W, after off" in out
    (course,) = json.loads(run(*words, "--json")[1])["courses"]
    assert {(one["unit"], one["port"]) for one in course["not_as_before"]} == {
        ("core", "15"), ("core", "16"), ("core", "17"),
    }  # fmt: skip


def test_the_paper(tmp_path: Path) -> None:
    paper = tmp_path / "restart.html"
    code, out, _ = run(str(FERRY_TERMINAL), "--load", "night", "--html", str(paper))
    assert (code, out) == (1, f"wrote {paper}\n")
    assert "Watts from second to second" in paper.read_text(encoding="utf-8")
    code, _, err = run(str(FERRY_TERMINAL), "--load", "night", "--html", str(tmp_path / "no" / "paper.html"))
    assert code == 3
    assert len(err.splitlines()) == 1


def test_a_site_of_units_that_feed_each_other(tmp_path: Path) -> None:
    file = tmp_path / "site.yaml"
    file.write_text(RING, encoding="utf-8")
    code, out, _ = run(str(file))
    assert code in (0, 1)
    assert "Traceback" not in out


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


@pytest.mark.parametrize(
    ("plain", "full"), [("pier-7", "circuit pier-7"), ("ups-a", "input of ups-a"), ("P2", "panel P2")]
)
def test_a_plain_name_stands_for_its_failure(plain: str, full: str) -> None:
    assert run(str(FERRY_TERMINAL), "--after", plain, "--load", "night", "--json") == run(
        str(FERRY_TERMINAL), "--after", full, "--load", "night", "--json"
    )
