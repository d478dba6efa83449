"""`portdraw fit` from outside: output and exit codes."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
import typer
from typer.testing import CliRunner

import portdraw.rehearsal
from portdraw.cli.fit import fit

FERRY_TERMINAL = Path(portdraw.rehearsal.__path__[0]) / "site.yaml"
APP = typer.Typer()
APP.command()(fit)
DOME = ("--class", "5", "--watts", "38", "--night", "38", "--length", "40", "--near", "north-pier")
RING = """
format: 1
site: {name: ring}
units:
  one:
    pse: {budget_w: 60, voltage_v: 54, ports: 4}
    ports: {1: {feeds: two, class: 4, cable: {type: cat6, length_m: 5}}}
  two:
    pse: {budget_w: 60, voltage_v: 54, ports: 4}
    ports: {1: {feeds: one, class: 4, cable: {type: cat6, length_m: 5}}}
"""


def run(*words: str) -> tuple[int, str, str]:
    result = CliRunner().invoke(APP, list(words))
    return result.exit_code, result.stdout, result.stderr


def mended(folder: Path) -> Path:
    """The ferry terminal with a third module of 220 W in the core, as the worked example mends it."""
    text = FERRY_TERMINAL.read_text(encoding="utf-8")
    module = "{from: ups-a, efficiency: 0.9, pse_share_w: 220}"
    assert text.count(module) == 2
    text = text.replace(module, f"{module}\n      - {module}", 1).replace("budget_w: 440", "budget_w: 660")
    file = folder / "site.yaml"
    file.write_text(text, encoding="utf-8")
    return file


def test_a_dome_at_the_north_pier_is_refused() -> None:
    code, out, _ = run(str(FERRY_TERMINAL), *DOME, "--start", "45")
    assert code == 1
    assert all(len(line) <= 100 for line in out.splitlines())
    # the device contradicts itself: said once, and the ports are held against the rest
    assert "As it is described it fits nowhere: 47.8 W at the port, above its class of 45 W" in out
    assert out.count("above its class of 45 W") == 1
    assert "it does not fit at north-pier: north-pier budget" in " ".join(out.split())
    assert "north-pier budget on PoE feed" in out
    assert "local AC" in out


def test_a_phone_fits_after_the_mend(tmp_path: Path) -> None:
    words = ("--class", "2", "--watts", "3.2", "--start", "5", "--length", "20", "--conductor", "copper")
    code, out, _ = run(str(mended(tmp_path)), *words, "--near", "ticket-hall")
    assert code == 0, out
    assert "It fits at ticket-hall: ticket-hall port 7 is the best of 2 free ports that take it." in out
    assert run(str(mended(tmp_path)), *words, "--near", "north-pier")[0] == 1
    assert run(str(mended(tmp_path)), *words)[0] == 0


def test_as_json() -> None:
    code, out, _ = run(str(FERRY_TERMINAL), *DOME, "--json")
    assert code == 1
    document = json.loads(out)
    assert document["fits"] is False
    first = document["ports"][0]
    assert (first["unit"], first["near"], first["fits"]) == ("north-pier", "here", False)
    feed = next(limit for limit in first["binding"] if limit["limit"] == "north-pier budget on PoE feed")
    # worked example, frost night: 56.1 of 59.6 W without anything new
    assert (f"{feed['before_w']:.1f}", f"{feed['limit_w']:.1f}", feed["case"]) == ("56.1", "59.6", "frost_night")
    assert {leg["leg"] for leg in first["legs"]} == {"local AC", "PoE feed"}


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--class", "9", "--watts", "3", "--length", "5"), "--class 9 is no class"),
        (("--class", "3+", "--watts", "3", "--length", "5"), "--class 3+ is no class"),
        (("--class", "3", "--watts", "nan", "--length", "5"), "--watts nan is not between 0 and 100"),
        (("--class", "3", "--watts", "3", "--length", "-5"), "--length -5 is not between 0 and 2000"),
        (("--class", "3", "--watts", "3", "--length", "5", "--near", "moon"), "has no unit of this name"),
        (("--class", "3", "--watts", "3"), "Missing option '--length'"),
    ],
)
def test_wrong_words(words: tuple[str, ...], said: str) -> None:
    code, out, err = run(str(FERRY_TERMINAL), *words)
    assert (code, out) == (2, "")
    assert said in err


def test_the_paper(tmp_path: Path) -> None:
    paper = tmp_path / "fit.html"
    code, out, _ = run(str(FERRY_TERMINAL), *DOME, "--html", str(paper))
    assert (code, out) == (1, f"wrote {paper}\n")
    assert "It does not fit at north-pier" in paper.read_text(encoding="utf-8")
    code, out, _ = run(str(FERRY_TERMINAL), *DOME, "--html", str(paper), "--json")
    assert (code, json.loads(out)["fits"]) == (1, False)
    other = tmp_path / "notes.html"
    other.write_text("mine", encoding="utf-8")
    code, _, err = run(str(FERRY_TERMINAL), *DOME, "--html", str(other))
    assert code == 3
    assert "is no paper of portdraw" in err
    assert other.read_text(encoding="utf-8") == "mine"


def test_a_site_of_units_that_feed_each_other(tmp_path: Path) -> None:
    """What can't be worked out is an answer, never a traceback."""
    file = tmp_path / "site.yaml"
    file.write_text(RING, encoding="utf-8")
    code, out, _ = run(str(file), "--class", "2", "--watts", "3", "--length", "5")
    assert code == 1
    assert "units feed each other" in " ".join(out.split())


def test_a_dual_signature_device() -> None:
    code, out, _ = run(str(FERRY_TERMINAL), "--class", "3+3", "--watts", "20", "--length", "20")
    assert code == 1
    assert "Class 3+3" in out
