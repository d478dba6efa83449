"""A site's own column: from its settings, through a real agent, to a record and to the site's JSON."""

from __future__ import annotations

import asyncio
import json
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest
from tests.cli.command import portdraw
from tests.cli.recorded_switch import SECRETS, SETTINGS, SITE, USER, write_files
from tests.reading.real_agent import RealAgent, real_agent

from portdraw.observation.record import Basis, Quantity
from portdraw.plan.plan_error import PlanError
from portdraw.reading.catalogue import standard_catalogue
from portdraw.reporting.site_json import site_json
from portdraw.service.agent import Agent
from portdraw.service.clock import Clock
from portdraw.service.settings import load_settings
from portdraw.service.site_catalogue import site_catalogue
from portdraw.service.wiring import gather, open_history

OID = "1.3.6.1.4.1.32473.7.1.1.3"  # enterprise 32473 is for documentation (RFC 5612)
COLUMN = f"""\
columns:
  - name: slip-meter
    oid: {OID}
    index: port-from-zero
    unit: 0.1 W
    system_object_id: 1.3.6.1.4.1.32473.7
    source: the maker's manual, page 12
"""
WATTS = {1003: 3.6, 1004: 3.7, 1008: 4.1}  # by port of the power table; this column counts one less, in tenths
SITE_COLUMN = "column of this site slip-meter"


def recording(system: str) -> str:
    power = "1.3.6.1.2.1.105.1.1.1"
    lines = [
        f"1.3.6.1.2.1.1.2.0|6|{system}",
        "1.3.6.1.2.1.105.1.3.1.1.2.1|66|170",
        "1.3.6.1.2.1.105.1.3.1.1.4.1|66|11",
    ]
    for port in range(1001, 1009):
        lines.append(f"{power}.6.1.{port}|2|{3 if port in WATTS else 2}")
        lines.append(f"{OID}.{port - 1}|2|{round(10 * WATTS.get(port, 0))}")
        lines += [f"1.3.6.1.2.1.2.2.1.3.{port}|2|6", f"1.3.6.1.2.1.31.1.1.1.1.{port}|4|port {port}"]
    return "\n".join(lines) + "\n"


@pytest.fixture(scope="module")
def switch(tmp_path_factory: pytest.TempPathFactory) -> Iterator[RealAgent]:
    path = tmp_path_factory.mktemp("switch") / "switch.snmprec"
    path.write_text(recording("1.3.6.1.4.1.32473.7.12"))
    with real_agent(path, [USER]) as agent:
        yield agent


def settings_with(column: str) -> str:
    return SETTINGS.replace("access:", column + "access:")


def test_from_the_settings_to_the_site_s_json(
    switch: RealAgent, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for name, secret in SECRETS.items():
        monkeypatch.setenv(name, secret)
    loaded = load_settings(write_files(tmp_path, switch.address, settings=settings_with(COLUMN)))
    parts = gather(loaded)

    async def once() -> str:
        clock = Clock()
        agent = Agent(parts, history, clock, serve=False)
        return json.dumps(site_json(await agent.once(), clock.now_s()))

    with closing(open_history(parts)) as history:
        (unit,) = json.loads(asyncio.run(once()))["units"]
    ports = {port["port"]: port["draw"] for port in unit["ports"]}
    for printed, index in (("3", 1003), ("4", 1004), ("8", 1008)):
        assert ports[printed]["value_w"] == WATTS[index]
        assert (ports[printed]["basis"], ports[printed]["source"]) == ("measured", SITE_COLUMN)
    assert unit["draw"]["value_w"] == pytest.approx(sum(WATTS.values()))


@pytest.mark.parametrize(
    ("change", "basis"),
    [(("", ""), "measured"), (("    source:", "    basis: granted\n    source:"), "granted")],
)
def test_probe_reads_it_by_the_same_settings(
    switch: RealAgent, tmp_path: Path, change: tuple[str, str], basis: str
) -> None:
    column = COLUMN.replace(*change) if change[0] else COLUMN
    settings = write_files(tmp_path, switch.address, settings=settings_with(column))
    words = ["probe", switch.address, "--settings", str(settings), "--access", "slip-v3"]
    done = portdraw(*words, "--json", more=SECRETS)
    assert done.returncode == 0, done.stderr
    told = {
        record["port"]: (record["value"], record["basis"], record["source"])
        for record in json.loads(done.stdout)["records"]
        if record["quantity"] == "port draw" and record["value"]
    }
    assert told == {str(port): (watts, basis, SITE_COLUMN) for port, watts in WATTS.items()}
    sheet = " ".join(portdraw(*words, more=SECRETS).stdout.split())
    assert f"Port watts: {basis}, at the switch's output, from {SITE_COLUMN}." in sheet


def test_a_switch_of_another_kind_is_not_asked_for_it(switch: RealAgent, tmp_path: Path) -> None:
    column = COLUMN.replace("32473.7\n", "32473.8\n")
    settings = write_files(tmp_path, switch.address, settings=settings_with(column))
    words = ["probe", switch.address, "--settings", str(settings), "--access", "slip-v3", "--json"]
    done = portdraw(*words, more=SECRETS)
    records = json.loads(done.stdout)["records"]
    assert {record["value"] for record in records if record["quantity"] == "port draw"} == {None}


WRONG = [
    (f"oid: {OID}", "oid: 1.3.x", "1.3.x", "is not an object identifier such as"),
    ("index: port-from-zero", "index: row", "row", "must be group-port, port, port-from-zero, if-index"),
    ("unit: 0.1 W", "unit: kW", "kW", "must be W, 0.1 W, 0.01 W, mW or W as text"),
    ("    source: the maker's manual, page 12\n", "", "name", "needs the key 'source'"),
    ("system_object_id: 1.3.6.1.4.1.32473.7", "system_object_id: acme", "acme", "is not an object identifier"),
    ("unit: 0.1 W", "unit: 0.1 W\n    basis: learned", "learned", "must be measured or granted"),
    ("unit: 0.1 W", "unit: 0.1 W\n    colour: red", "colour", "columns[1].colour"),
    ("name: slip-meter", "name: eoPower", "eoPower", "'eoPower' is the name of another column of mibs/"),
]


@pytest.mark.parametrize(("old", "new", "at", "sentence"), WRONG)
def test_a_wrong_column_is_told_with_its_place(tmp_path: Path, old: str, new: str, at: str, sentence: str) -> None:
    column = COLUMN.replace(old, new)
    assert column != COLUMN
    path = write_files(tmp_path, "192.0.2.1", settings=settings_with(column))
    text = path.read_text()
    before = text[: text.index(at, text.index("columns:"))]
    line, mark = before.count("\n") + 1, len(before) - (before.rfind("\n") + 1) + 1
    with pytest.raises(PlanError) as caught:
        site_catalogue(load_settings(path))
    told = str(caught.value)
    assert sentence in told
    assert told.startswith(f"{path}:{line}:{mark}: columns[1]")


def test_two_columns_of_one_name_are_refused(tmp_path: Path) -> None:
    twice = COLUMN + COLUMN.removeprefix("columns:\n")
    path = write_files(tmp_path, "192.0.2.1", settings=settings_with(twice))
    with pytest.raises(
        PlanError, match=r"columns\[2\]\.name: 'slip-meter' is the name of another column of this list"
    ):
        site_catalogue(load_settings(path))


def test_without_columns_the_catalogue_is_the_shipped_one(tmp_path: Path) -> None:
    assert site_catalogue(load_settings(write_files(tmp_path, "192.0.2.1"))) is standard_catalogue()


def test_every_unit_is_scaled_as_it_says(tmp_path: Path) -> None:
    scales = {"W": 1, "0.1 W": 0.1, "0.01 W": 0.01, "mW": 0.001, "W as text": 1}
    for unit, scale in scales.items():
        path = write_files(tmp_path, "192.0.2.1", site=SITE, settings=settings_with(COLUMN.replace("0.1 W", unit)))
        entry = site_catalogue(load_settings(path)).objects["slip-meter"]
        assert (entry.scale, entry.quantity, entry.basis) == (scale, Quantity.PORT_DRAW, Basis.MEASURED)
        assert (entry.syntax == "decimal-text") == (unit == "W as text")
