"""The main job from end to end, as a stranger sees it: `portdraw demo` in a process of its own."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from tests.cli.demo_run import QUERIES, DemoRun


def test_it_ends_by_itself_and_leaves_nothing_in_temp(demo_run: DemoRun) -> None:
    assert demo_run.exit_code == 0, demo_run.output
    assert "Traceback" not in demo_run.output
    assert demo_run.left_in_temp == []


@pytest.mark.parametrize("unit", ["north-pier", "breakwater"])
def test_loss_of_local_ac_is_raised_and_returns(demo_run: DemoRun, unit: str) -> None:
    raised = demo_run.output.index(f"raised    {unit} (")
    sentence = demo_run.output[raised:].splitlines()[0]
    assert "lost local AC at 14:0" in sentence
    assert "(circuit pier-7, panel P2, breaker 7)" in sentence
    assert re.search(rf"returned  Over since 14:1\d: {unit} \(.*lost local AC", demo_run.output[raised:])


def test_the_alarm_stands_on_the_overview_in_the_metrics_and_at_the_webhook(demo_run: DemoRun) -> None:
    assert re.search(
        r'^portdraw_alarm_active\{kind="local-ac-lost",port="",severity="\w+",'
        r'site="Skarholm ferry terminal EMULATED",unit="north-pier"\} 1.0$',
        demo_run.alarm_seen["metrics"],
        re.MULTILINE,
    )
    assert "north-pier (mast 3, north pier) lost local AC at" in demo_run.alarm_seen["page"]
    assert "EMULATED" in demo_run.alarm_seen["page"]
    assert "webhook   got raised: local-ac-lost, north-pier" in demo_run.output
    assert "webhook   got returned: local-ac-lost, north-pier" in demo_run.output


def test_the_audit_names_drift_unplanned_device_and_loss_of_ac(demo_run: DemoRun) -> None:
    written = [
        Path(line.removeprefix("audit written: ")) for line in demo_run.output.splitlines() if "audit written" in line
    ]
    assert {path.suffix for path in written} == {".html", ".json", ".csv"}
    assert all(path.parent == demo_run.folder and "EMULATED" in path.name for path in written)
    page = next(path for path in written if path.suffix == ".html").read_text(encoding="utf-8")
    assert "This site is emulated" in page
    for said in (
        r"berth-1 port 1 \(berth-1-ptz\)</td>\s*<td>Drifting up by 0\.3\d W a day",
        r"exit-lanes port 6</td>\s*<td>Unplanned device",
        r"north-pier</td>\s*<td>Local AC lost at ",
        r"entry-lanes and exit-lanes</td>\s*<td>Local AC lost at ",  # in the days before, written the normal way
        r"breakwater port 5</td>\s*<td>Power was denied",
    ):
        assert re.search(said, page), said
    document = json.loads(next(path for path in written if path.suffix == ".json").read_text(encoding="utf-8"))
    assert document["emulated"] is True


def test_a_real_prometheus_has_the_draws_that_the_api_says(demo_run: DemoRun) -> None:
    """Every value that was scraped is one that the API told at some time, to the last digit; none is made up."""
    told = {
        (unit["unit"], unit["draw"]["value_w"])
        for site in demo_run.sites
        for unit in site["units"]
        if unit["draw"]["value_w"] is not None
    }
    assert {unit for unit, _ in demo_run.draws_scraped} == {unit for unit, _ in told}
    assert len(demo_run.draws_scraped) > 50  # nine units, a new figure every two seconds
    both = demo_run.draws_scraped & told
    # the API was asked every third of a second or so: on a busy machine a figure may have come and gone in between
    assert len(both) >= 0.8 * len(demo_run.draws_scraped)


def test_every_query_for_dashboards_brings_something(demo_run: DemoRun) -> None:
    """Run against a real Prometheus that scraped the emulated site while two units were on their feed."""
    assert QUERIES.is_file()
    assert demo_run.answers
    empty = [title for title, rows in demo_run.answers.items() if not rows]
    assert empty == []
    lost = {row["metric"]["unit"] for row in demo_run.answers["Legs"] if row["metric"]["availability"] == "lost"}
    assert lost == {"north-pier", "breakwater"}


def test_it_is_ready_only_after_its_first_cycle_and_stays_so(demo_run: DemoRun) -> None:
    first = demo_run.ready_codes.index(200)
    assert set(demo_run.ready_codes[:first]) <= {503}
    assert set(demo_run.ready_codes[first:]) == {200}


def test_cycles_go_on_and_every_unit_answers(demo_run: DemoRun) -> None:
    cycles = [site["cycle"] for site in demo_run.sites]
    assert cycles == sorted(cycles)
    assert cycles[-1] > cycles[0] + 5
    outcomes = {unit["unit"]: unit["poll"]["outcome"] for unit in demo_run.sites[-1]["units"]}
    assert set(outcomes.values()) == {"answered"}
    assert len(outcomes) == 9
    assert all(site["emulated"] for site in demo_run.sites)


def test_a_port_in_use_is_no_obstacle(demo_run: DemoRun) -> None:
    assert demo_run.second_address.startswith("http://127.0.0.1:")
    assert demo_run.second_address != demo_run.address


def test_ctrl_c_ends_it_with_an_audit(demo_run: DemoRun) -> None:
    assert demo_run.second_exit_code == 0, demo_run.second_output
    assert "alarms came up" in demo_run.second_output
    names = {path.name for path in demo_run.second_folder.iterdir()}
    stem = "portdraw-audit-EMULATED"
    assert names == {
        f"{stem}{end}" for end in (".html", ".json", "-ports.csv", "-units.csv", "-losses.csv", "-events.csv")
    }
