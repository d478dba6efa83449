"""A recorded agent served by a real snmpd, with a site file that plans it and settings to read it."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from tests.reading.real_agent import AUTH_SECRET, COMMUNITY, PRIVACY_SECRET, RealAgent, real_agent, user
from tests.reading.recording import recorded_rows
from tests.requirements import need_recordings

RECORDING = "eight-port-measured.snmprec"
MEASURED = (1, 3, 6, 1, 4, 1, 1916, 1, 27, 2, 1, 1, 6)  # EXTREME-POE-MIB, port watts in mW, by group and port
DELIVERING = {"3": 1003, "4": 1004, "8": 1008}  # printed number: port index of the recording's README
USER = user("sha256", "aes128")
SITE = """\
format: 1
site: {name: Skarholm slipway, timezone: Atlantic/Faroe}
incomers: {town-supply: {rating_a: 63}}
panels: {P1: {fed_from: town-supply}}
circuits: {slip-1: {panel: P1, breaker: "1", rating_a: 16}}
device_types: {camera: {class: 3, typical_w: 6, night_w: 9}}
units:
  winch-house:
    place: winch house
    address: ADDRESS
    access: slip-v3
    supplies: [{from: slip-1}]
    pse: {budget_w: 170, voltage_v: 54, ports: 8, class_max: 4}
    ports:
      3: {device: winch-cam, type: camera, snmp: "1.1003", cable: {length_m: 20}}
      4: {device: slip-cam, type: camera, snmp: "1.1004", cable: {length_m: 30}}
      8: {device: gate-cam, type: camera, snmp: "1.1008", cable: {length_m: 40}}
"""
SETTINGS = f"""\
format: 1
site: site.yaml
listen: {{port: PORT}}
poll: {{every_s: 1, deadline_s: 5}}
access:
  slip-v3: {{version: 3, user: {USER.user}, auth_secret: {{file: auth}}, privacy_secret: {{env: SLIP_PRIVACY}}}}
  slip-v2: {{version: 2c, community: {{env: SLIP_COMMUNITY}}}}
"""
SECRETS = {"SLIP_PRIVACY": PRIVACY_SECRET.decode(), "SLIP_COMMUNITY": COMMUNITY.decode()}


@contextmanager
def recorded_switch() -> Iterator[RealAgent]:
    """Serve the recording."""
    with real_agent(need_recordings() / RECORDING, [USER]) as agent:
        yield agent


def recorded_w() -> dict[str, float]:
    """Return the watts of the ports that deliver, straight from the recording's text."""
    rows = recorded_rows(need_recordings() / RECORDING)
    found = {}
    for port, index in DELIVERING.items():
        value = rows[(*MEASURED, 1, index)].value
        assert isinstance(value, int)
        found[port] = value / 1000
    return found


def write_files(folder: Path, address: str, port: int = 0, site: str = SITE, settings: str = SETTINGS) -> Path:
    """Write site file, settings and the one secret that is a file; return the settings file."""
    (folder / "site.yaml").write_text(site.replace("ADDRESS", address))
    (folder / "auth").touch(mode=0o600)
    (folder / "auth").write_text(AUTH_SECRET.decode())
    path = folder / "settings.yaml"
    path.write_text(settings.replace("PORT", str(port)))
    return path
