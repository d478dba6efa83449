"""`portdraw probe` on every recorded agent gives the sheet that was written beside the recording's own rows.

The description that the agent gives of itself is replaced before it is served; address, times and the number of
requests vary and are masked.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from pathlib import Path

import pytest
from tests.cli.command import portdraw
from tests.reading.real_agent import COMMUNITY, real_agent
from tests.reading.recording import recorded_rows
from tests.requirements import need_recordings

RECORDINGS = (
    "eight-port-measured",
    "optical-watts-no-poe",
    "private-table-only-measured",
    "stack-2x48-idle",
    "zero-based-names-idle",
)
SHEETS = Path(__file__).with_name("probe_sheets")
RIGHT = {"PORTDRAW_COMMUNITY": COMMUNITY.decode()}
_DESCRIPTION = re.compile(r"^1\.3\.6\.1\.2\.1\.1\.1\.0\|.*$", re.MULTILINE)


def anonymous(name: str, folder: Path) -> Path:
    """Return a copy of a recording that says of itself only that it is one."""
    text = (need_recordings() / f"{name}.snmprec").read_text(encoding="latin-1")
    copy, count = _DESCRIPTION.subn("1.3.6.1.2.1.1.1.0|4|a recorded agent", text)
    assert count == 1
    path = folder / f"{name}.snmprec"
    path.write_text(copy, encoding="latin-1")
    return path


def masked(sheet: str, address: str) -> str:
    """Return a sheet without what is another each time."""
    sheet = sheet.replace(address, "ADDRESS")
    sheet = re.sub(r"[0-9]+ requests in [0-9.]+ s", "N requests in T s", sheet)
    sheet = re.sub(r"(?<=^uptime)( +)([0-9]+)( s +)", _without_number, sheet, flags=re.MULTILINE)
    return "".join(f"{line.rstrip()}\n" for line in sheet.splitlines())


def _without_number(found: re.Match[str]) -> str:
    return f"{found[1]}T{found[3]}{' ' * (len(found[2]) - 1)}"


@pytest.mark.parametrize("name", RECORDINGS)
def test_the_sheet_is_the_one_written_by_hand(name: str, tmp_path: Path) -> None:
    with real_agent(anonymous(name, tmp_path)) as agent:
        done = portdraw("probe", agent.address, "--community", "--deadline-s", "60", more=RIGHT)
    assert (done.returncode, done.stderr) == (0, "")
    assert max(map(len, done.stdout.splitlines())) <= 100
    assert masked(done.stdout, agent.address) == (SHEETS / f"{name}.txt").read_text()


# POWER-ETHERNET-MIB (RFC 3621): states, classes; IF-MIB: ifOperStatus. What is written here is not the catalogue's.
_STATES = {1: "disabled", 2: "searching", 3: "delivering"}
_LINKS = {1: "up", 2: "down"}
_PETH, _OPER = "1.3.6.1.2.1.105.1.1.1", "1.3.6.1.2.1.2.2.1.8"
_ZERO_BASED = (116, 118, 140, 150, 152, 154, 156, 158)  # interfaces named x/0/0 to x/0/7, by ifDescr
# by recording: the column of milliwatts, whether there is a power table, and index and interface of a printed port
_COLUMNS: dict[str, tuple[str, bool, Callable[[str], tuple[str, str]]]] = {
    "eight-port-measured": ("1.3.6.1.4.1.1916.1.27.2.1.1.6", True, lambda port: (f"1.{port}", port)),
    "private-table-only-measured": ("1.3.6.1.4.1.1991.1.1.2.14.2.2.1.6", False, lambda port: (port, port)),
    "stack-2x48-idle": (
        *("1.3.6.1.4.1.9.9.402.1.2.1.9", True),
        lambda port: (port.replace("/", "."), f"10{int(port[2:]) + (100 if port[0] == '1' else 600)}"),
    ),
    "zero-based-names-idle": ("", True, lambda port: (f"1.{port}", str(_ZERO_BASED[int(port) - 1]))),
}


@pytest.mark.parametrize("name", list(_COLUMNS))
def test_every_port_of_a_written_sheet_stands_so_in_the_recording(name: str) -> None:
    recording = recorded_rows(need_recordings() / f"{name}.snmprec")
    rows = {".".join(map(str, oid)): row.value for oid, row in recording.items()}
    milliwatts, has_table, place = _COLUMNS[name]
    lines = iter((SHEETS / f"{name}.txt").read_text().splitlines())
    next(line for line in lines if line.startswith("port  state"))
    seen = 0
    for line in lines:
        cells = line.split()
        if len(cells) < 7 or cells[1] not in (*_STATES.values(), "-"):
            break
        seen += 1
        index, interface = place(cells[0])
        if has_table:
            state, raw_class = (rows[f"{_PETH}.{column}.{index}"] for column in (6, 10))
            assert cells[1] == _STATES[int(str(state))]
            assert cells[3] == (str(int(str(raw_class)) - 1) if cells[1] == "delivering" else "-")
        watts = f"{int(str(rows[f'{milliwatts}.{index}'])) / 1000:.1f}" if milliwatts else "-"
        assert cells[2] == watts
        assert _LINKS[int(str(rows[f"{_OPER}.{interface}"]))] in cells
    asked = {"eight-port-measured": 8, "private-table-only-measured": 24, "stack-2x48-idle": 96}
    assert seen == asked.get(name, 8)


def test_the_json_says_the_same(tmp_path: Path) -> None:
    with real_agent(anonymous("optical-watts-no-poe", tmp_path)) as agent:
        done = portdraw("probe", agent.address, "--community", "--deadline-s", "60", "--json", more=RIGHT)
    told = json.loads(done.stdout)
    volts = {r["supply"]: r["value"] for r in told["records"] if r["quantity"] == "supply AC voltage"}
    assert volts == {"supply 1": 216.0, "supply 2": 218.5}  # 21600 and 21850 with two decimals (RFC 3433)
    assert told["not_told"]["port draw"] == "the switch has none of the objects that tell it"
    assert told["agreement"] == "It tells neither the watts of its ports nor their total."
    assert told["other_sources"] == []
