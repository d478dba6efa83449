"""`portdraw plan` from outside: output and exit codes."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
import typer
from tests.plan.samples import SMALL, changed
from tests.reporting.studies.depot import DEPOT
from typer.testing import CliRunner

import portdraw.rehearsal
from portdraw.cli.plan import plan

FERRY_TERMINAL = Path(portdraw.rehearsal.__path__[0]) / "site.yaml"
APP = typer.Typer()
APP.command()(plan)


def run(*words: str) -> tuple[int, str, str]:
    result = CliRunner().invoke(APP, list(words))
    return result.exit_code, result.stdout, result.stderr


def test_a_plan_that_fits(tmp_path: Path) -> None:
    file = tmp_path / "site.yaml"
    file.write_text(SMALL)
    code, out, _ = run(str(file))
    assert code == 0
    assert "Skarholm slipway: load schedule of the plan" in out


def test_the_ferry_terminal_is_short_when_all_feeds_carry() -> None:
    code, out, _ = run(str(FERRY_TERMINAL))
    assert code == 1
    assert "core, all feeds carrying, night: 460.4 W of 440 W (105 %), 20.4 W short." in out


def test_json() -> None:
    code, out, _ = run(str(FERRY_TERMINAL), "--json")
    assert code == 1
    assert json.loads(out)["site"] == "Skarholm ferry terminal"


@pytest.mark.parametrize("make", ["missing", "folder", "wrong"])
def test_wrong_input_is_one_sentence_and_code_2(tmp_path: Path, make: str) -> None:
    path = tmp_path if make == "folder" else tmp_path / "site.yaml"
    if make == "wrong":
        path.write_text(changed("budget_w: 120", "budget_w: lots"))
    code, out, err = run(str(path))
    assert code == 2
    assert out == ""
    assert err.count("\n") == 1
    assert err.startswith(str(path))
    assert "Traceback" not in err


def test_an_error_in_the_structure_is_code_1(tmp_path: Path) -> None:
    file = tmp_path / "site.yaml"
    file.write_text(changed("    supplies: [{from: slip-1}]\n", ""))
    code, out, _ = run(str(file))
    assert code == 1
    assert "error: winch-house: nothing supplies or feeds this unit." in out


def test_what_is_set_aside_counts_for_the_result_as_for_the_table(tmp_path: Path) -> None:
    """By hand: class 6 is 51 W at the gate, less 13 W of its own, times 0.9: 34.2 W; two ports of class 3, 30.8 W."""
    file = tmp_path / "site.yaml"
    file.write_text(DEPOT)
    code, out, _ = run(str(file))
    said = " ".join(out.split())
    assert code == 1
    assert "The plan fits" not in said
    assert "gate budget on the lesser leg: 30.8 of 34.2 W (90 %) set aside by class; the margin of 20 %" in said
    code, out, _ = run(str(file), "--json")
    document = json.loads(out)
    assert code == 1
    assert document["stands"] is False
    assert len(document["exceeded"]) == 1  # one limit, the other loads named in its sentence
    # class 8: 30.8 of (71.3 - 13) x 0.9 = 52.5 W
    file.write_text(DEPOT.replace("class: 6", "class: 8"))
    assert run(str(file))[0] == 0


def test_no_minutes_of_a_battery_whose_load_is_not_known(tmp_path: Path) -> None:
    file = tmp_path / "site.yaml"
    file.write_text(DEPOT)
    assert "346 min are left" in " ".join(run(str(file))[1].split())
    file.write_text(DEPOT.replace("typical_w: 6, night_w: 9", "typical_w: 60"))
    said = " ".join(run(str(file))[1].split())
    assert "min are left" not in said
    assert "how long it lasts can't be said: a part of its load is not known." in said
