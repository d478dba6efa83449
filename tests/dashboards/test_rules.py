"""Alerting and recording rules: alike with the agent's alarms, and as promtool plays them."""

from __future__ import annotations

import subprocess
from pathlib import Path

import pytest
import yaml
from tests.dashboards.documents import ALERTS, RECORDS, RULE_FILES
from tests.dashboards.plays import ON_HOST, PLAYS, Play, failure, of_host
from tests.requirements import need_program
from tests.tools.dashboards.alert_rules import OWN
from tests.tools.dashboards.outputs import FOLDER

from portdraw.judgement.alarm import AlarmKind, Severity
from portdraw.judgement.alarm_rule import ALARM_RULES
from portdraw.reporting.current import AgentHealth

FILES = [str(FOLDER / "rules" / name) for name in ("alerts.yaml", "records.yaml")]


def test_the_agents_alarms_and_the_rules_have_the_same_names() -> None:
    passed_on = [rule["alert"] for rule in RULE_FILES["alerts"]["groups"][0]["rules"]]
    assert sorted(passed_on) == sorted(kind.value for kind in AlarmKind)
    own = {rule.name for rule in OWN}
    assert set(ALERTS) == set(passed_on) | own
    assert not own & set(passed_on)


@pytest.mark.parametrize("kind", AlarmKind)
def test_a_kind_is_passed_on_in_the_agents_words_and_severity(kind: AlarmKind) -> None:
    rule = ALERTS[kind.value]
    assert rule["annotations"]["consequence"] == ALARM_RULES[kind].consequence
    assert rule["annotations"]["action"] == ALARM_RULES[kind].action
    assert "for" not in rule  # the agent's on-delay is over already
    assert "labels" not in rule  # the severity is the alarm's own


def test_rules_of_our_own_say_what_to_do_and_how_soon() -> None:
    for rule in OWN:
        assert rule.severity in set(Severity), rule.name
        assert rule.consequence.endswith("."), rule.name
        assert rule.action.endswith("."), rule.name


def test_a_late_cycle_is_late_where_the_pages_call_it_late() -> None:
    assert ALERTS["cycle-late"]["expr"].endswith(f"> {AgentHealth.late_after_s:g}")


def test_promtool_has_nothing_against_them() -> None:
    done = subprocess.run(
        [need_program("promtool"), "check", "rules", *FILES], capture_output=True, text=True, timeout=60, check=False
    )
    assert done.returncode == 0, done.stdout + done.stderr


def test_every_rule_of_our_own_is_played() -> None:
    assert {play.alert for play in PLAYS} >= {rule.name for rule in OWN}


@pytest.fixture(scope="module")
def promtool() -> str:
    """Return promtool, or skip."""
    return need_program("promtool")


@pytest.mark.parametrize("play", PLAYS, ids=lambda play: play.told)
def test_promtool_plays(promtool: str, tmp_path: Path, play: Play) -> None:
    done = _played(promtool, tmp_path, play)
    assert done.returncode == 0, done.stdout + done.stderr


def test_promtool_would_see_a_wrong_word(promtool: str, tmp_path: Path) -> None:
    play = next(play for play in PLAYS if play.alert == "polls-late")
    wrong = Play("", play.series, play.alert, {"10m": of_host("4 units", "notice")})
    assert _played(promtool, tmp_path, wrong).returncode != 0


def _played(promtool: str, folder: Path, play: Play) -> subprocess.CompletedProcess[str]:
    texts = {key: ALERTS[play.alert]["annotations"][key] for key in ("consequence", "action")}
    checks = [
        {
            "eval_time": at,
            "alertname": play.alert,
            "exp_alerts": [
                {"exp_labels": labels, "exp_annotations": {"summary": summary, **texts}}
                for labels, summary in expected
            ],
        }
        for at, expected in play.at.items()
    ]
    series = [{"series": name, "values": values} for name, values in play.series.items()]
    test = {"interval": "1m", "input_series": series, "alert_rule_test": checks}
    path = folder / "play.yaml"
    path.write_text(
        yaml.safe_dump({"rule_files": FILES, "evaluation_interval": "1m", "tests": [test]}), encoding="utf-8"
    )
    return subprocess.run(
        [promtool, "test", "rules", str(path)], capture_output=True, text=True, timeout=60, check=False
    )


def test_records_are_what_they_say(promtool: str, tmp_path: Path) -> None:
    """Worked by hand: 45 W of a budget of 60 W is a share of 0.75; lost in 15 of 60 minutes is 0.25."""
    unit = 'site="Quay",unit="berth-1"'
    series = {
        f'portdraw_unit_headroom_watts{{{unit},leg="feed"}}': "15x60",
        f'portdraw_unit_budget_watts{{{unit},leg="feed"}}': "60x60",
        f'portdraw_unit_draw_watts{{{unit},basis="measured"}}': "45x29 52 45x29",
        f'portdraw_leg_availability{{{unit},leg="ac",source="quay-3",state="lost"}}': "0x44 1x14",
        f'portdraw_leg_carrying{{{unit},leg="feed",source="core port 2",state="all"}}': "1x60",
        'portdraw_leg_carrying{site="Quay",unit="berth-2",leg="feed",source="core port 3",state="all"}': "0x60",
        'portdraw_emulated{site="Quay"}': "0x60",
        'portdraw_emulated{site="Hall"}': "0x60",
        failure("headroom_watts", more=',limit="core budget"'): "330x60",
        failure("limit_watts", more=',limit="core budget"'): "440x60",
        f"portdraw_reading_age_seconds{{{unit}}}": "12x60",
        'portdraw_reading_age_seconds{site="Quay",unit="berth-2"}': "31x60",
        f"portdraw_cycles_total{{{ON_HOST}}}": "0+2x60",
    }
    of_unit = '{site="Quay",unit="berth-1"'
    expected: dict[str, list[tuple[str, float]]] = {
        "portdraw:unit_leg_used:ratio": [(f'{of_unit},leg="feed"}}', 0.75)],
        "portdraw:unit_draw_watts:max1h": [(f"{of_unit}}}", 52)],
        "portdraw:leg_lost:avg1h": [(f'{of_unit},leg="ac"}}', 0.25)],
        "portdraw:units_on_feed:count": [('{site="Hall"}', 0), ('{site="Quay"}', 1)],
        "portdraw:next_failure_used:max": [('{site="Quay",load="now"}', 0.25)],
        "portdraw:reading_age_seconds:max": [('{site="Quay"}', 31)],
        "portdraw:cycles:rate5m": [(f"{{{ON_HOST}}}", 2 / 60)],
    }
    assert set(expected) == set(RECORDS)
    test = {
        "interval": "1m",
        "input_series": [{"series": name, "values": values} for name, values in series.items()],
        "promql_expr_test": [
            {
                "expr": name,
                "eval_time": "59m",
                "exp_samples": [{"labels": name + labels, "value": value} for labels, value in samples],
            }
            for name, samples in expected.items()
        ],
    }
    path = tmp_path / "records.yaml"
    path.write_text(
        yaml.safe_dump({"rule_files": FILES, "evaluation_interval": "1m", "tests": [test]}), encoding="utf-8"
    )
    done = subprocess.run(
        [promtool, "test", "rules", str(path)], capture_output=True, text=True, timeout=60, check=False
    )
    assert done.returncode == 0, done.stdout + done.stderr
