"""`portdraw failures` from outside: output, papers and exit codes."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
import typer
from tests.plan.samples import SMALL
from typer.testing import CliRunner

import portdraw.rehearsal
from portdraw.cli.failures import failures

FERRY_TERMINAL = Path(portdraw.rehearsal.__path__[0]) / "site.yaml"
APP = typer.Typer()
APP.command()(failures)
SUPPLIES = "      - {from: ups-a, efficiency: 0.9, pse_share_w: 220}\n"


def run(*words: str) -> tuple[int, str, str]:
    result = CliRunner().invoke(APP, list(words))
    return result.exit_code, result.stdout, result.stderr


def test_the_ferry_terminal_is_survived_by_day_and_not_at_night() -> None:
    code, out, _ = run(str(FERRY_TERMINAL), "--load", "typical")
    assert (code, "not survived" in out) == (0, False)
    code, out, _ = run(str(FERRY_TERMINAL), "--load", "night")
    assert code == 1
    assert "office-phone-1, office-phone-2, foyer-sign" in out
    assert run(str(FERRY_TERMINAL))[0] == 1


def test_the_proposed_module_mends_it(tmp_path: Path) -> None:
    """The file with the change that the study proposes has no finding left."""
    text = FERRY_TERMINAL.read_text(encoding="utf-8")
    assert text.count(SUPPLIES) == 2
    assert text.count("budget_w: 440") == 1
    file = tmp_path / "site.yaml"
    first = text.index(SUPPLIES)
    file.write_text((text[:first] + SUPPLIES + text[first:]).replace("budget_w: 440", "budget_w: 660"))
    code, out, _ = run(str(file))
    assert code == 0, out
    assert "Not survived" not in out


def test_pairs_are_worked_out_on_request() -> None:
    assert "circuits pier-7 and" not in run(str(FERRY_TERMINAL), "--load", "night")[1]
    _, out, _ = run(str(FERRY_TERMINAL), "--load", "night", "--pairs", "--json")
    pairs = [row for row in json.loads(out)["failures"] if row["kind"] == "pair"]
    assert len(pairs) == 10  # of five circuits


def test_json_and_paper_together(tmp_path: Path) -> None:
    paper = tmp_path / "failures.html"
    code, out, _ = run(str(FERRY_TERMINAL), "--json", "--html", str(paper))
    assert code == 1
    assert json.loads(out)["site"] == "Skarholm ferry terminal"
    assert paper.read_text(encoding="utf-8").startswith("<!doctype html>")


def test_a_maintenance_sheet(tmp_path: Path) -> None:
    code, out, _ = run(str(FERRY_TERMINAL), "--before", "switch off north-pier")
    assert code == 1
    assert "Meanwhile on one leg: breakwater." in out
    paper = tmp_path / "sheet.html"
    code, out, _ = run(str(FERRY_TERMINAL), "--before", "switch off north-pier", "--html", str(paper))
    assert (code, out) == (1, f"wrote {paper}\n")
    code, out, _ = run(str(FERRY_TERMINAL), "--before", "switch off hall-1", "--json")
    assert (code, json.loads(out)["findings"]) == (0, False)


def test_wrong_input_is_one_sentence_and_code_2() -> None:
    code, out, err = run(str(FERRY_TERMINAL), "--before", "switch off nort-pier")
    assert (code, out) == (2, "")
    assert err.count("\n") == 1
    assert run(str(FERRY_TERMINAL), "--load", "noon")[0] == 2


def test_a_file_that_is_no_paper_is_left_alone(tmp_path: Path) -> None:
    file = tmp_path / "site.yaml"
    file.write_text(SMALL)
    code, _, err = run(str(file), "--html", str(file))
    assert code == 3
    assert "no paper of portdraw" in err
    assert file.read_text() == SMALL


@pytest.mark.parametrize("load", ["typical", "night", "frost", "max", "all"])
def test_every_load_can_be_asked_for(tmp_path: Path, load: str) -> None:
    file = tmp_path / "site.yaml"
    file.write_text(SMALL)
    code, out, err = run(str(file), "--load", load)
    assert code in (0, 1)
    assert err == ""
    assert "Skarholm slipway: what fails next, on the plan" in out
