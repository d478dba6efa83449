"""A site of two units for the tests of the service: a switch in a winch house, and a fed unit on its slip."""

from __future__ import annotations

import socket
from collections.abc import Mapping, Sequence
from pathlib import Path

from tests.history.samples import SOURCE

from portdraw.observation.record import Basis, PortState, PowerSource, Quantity, Record
from portdraw.observation.unit_observation import Outcome, UnitObservation
from portdraw.plan.loader import parse_site
from portdraw.plan.site import Site

ACCESS = "slip-v3"
UNITS = ("winch-house", "slip")
SITE = """\
format: 1
site: {name: Skarholm slipway, timezone: Atlantic/Faroe, night: {from: "20:00", to: "06:30"}}
incomers: {town-supply: {rating_a: 63}}
panels: {P1: {fed_from: town-supply}}
circuits:
  slip-1: {panel: P1, breaker: "1", rating_a: 16}
  slip-2: {panel: P1, breaker: "2", rating_a: 16}
device_types:
  camera: {class: 3, typical_w: 6, night_w: 9}
units:
  winch-house:
    place: winch house
    address: 10.30.0.2
    access: slip-v3
    supplies: [{from: slip-1}]
    pse: {budget_w: 120, voltage_v: 54, ports: 8, class_max: 8}
    ports:
      1: {feeds: slip, class: 4, priority: critical, cable: {length_m: 60, conductor: copper}}
      2: {device: winch-cam, type: camera, cable: {length_m: 20, conductor: copper}}
  slip:
    place: slip
    address: 10.30.0.3
    access: slip-v3
    supplies: [{from: slip-2}]
    pse: {budget_w: 30, voltage_v: 54, ports: 4, class_max: 4}
    fed: {prefers: ac, spare_feed: held, standby_w: 1.0, output: boosted}
    ports:
      1: {device: slip-cam, type: camera, cable: {length_m: 30, conductor: copper}}
"""
SETTINGS = """\
format: 1
site: site.yaml
history: {folder: history}
listen: {host: 127.0.0.1, port: 0}
poll: {every_s: 30, slow_every_s: 300, deadline_s: 4, in_flight: 16}
access:
  slip-v3:
    version: 3
    user: watch
    auth_secret: {file: auth}
    privacy_secret: {file: privacy}
"""
AUTH, PRIVACY = "slip-auth-passphrase", "slip-privacy-passphrase"
NOON_S = 1_772_452_800.0  # 2026-03-02 12:00 in the Atlantic/Faroe zone (UTC+0 in winter)
EVERY_S = 30.0


def slipway() -> Site:
    """Return the site."""
    return parse_site(SITE)


def write_folder(
    folder: Path,
    settings: str = SETTINGS,
    site: str = SITE,
    secrets: Mapping[str, str] | None = None,
    addresses: Mapping[str, str] | None = None,
) -> Path:
    """Write settings, site file and secrets; return the settings file. `addresses` is by unit."""
    for number, name in ((2, "winch-house"), (3, "slip")):
        site = site.replace(f"10.30.0.{number}\n", f"{(addresses or {}).get(name, f'10.30.0.{number}')}\n")
    (folder / "site.yaml").write_text(site, encoding="utf-8")
    for name, secret in (secrets if secrets is not None else {"auth": AUTH, "privacy": PRIVACY}).items():
        path = folder / name
        path.touch(mode=0o600)
        path.write_text(secret, encoding="utf-8")
    path = folder / "settings.yaml"
    path.write_text(settings, encoding="utf-8")
    return path


def changed(old: str, new: str, text: str = SETTINGS) -> str:
    """Return a text with one thing changed, which must be there exactly once."""
    assert text.count(old) == 1, f"{old!r} is {text.count(old)} times there"
    return text.replace(old, new)


def answers(
    time_s: float,
    *,
    on_feed: bool = False,
    slip_cam_w: float = 6.2,
    extra: Sequence[tuple[str, str, float]] = (),
) -> list[UnitObservation]:
    """Return what both units would tell: on local AC, or the slip on its feed. `extra`: unit, port, watts."""
    source = PowerSource.PSE if on_feed else PowerSource.BOTH
    feed_w = slip_cam_w / 0.9 + 3.0 if on_feed else 1.1
    winch = [*_port("1", feed_w, time_s), *_port("2", 6.1, time_s)]
    winch.append(Record("1", Quantity.PORT_PD_SOURCE, source, "", None, SOURCE, time_s))
    slip = _port("1", slip_cam_w, time_s)
    slip.append(Record(None, Quantity.UNIT_OWN_SOURCE, source, "", None, SOURCE, time_s))
    for unit, port, watts in extra:
        (winch if unit == "winch-house" else slip).extend(_port(port, watts, time_s))
    return [answer("winch-house", time_s, winch), answer("slip", time_s, slip)]


def answer(unit: str, time_s: float, records: Sequence[Record]) -> UnitObservation:
    """Return a poll that ended well."""
    return UnitObservation(unit, time_s - 0.2, time_s, Outcome.ANSWERED, "", tuple(records))


def free_tcp_port() -> int:
    """Return a port that was free a moment ago."""
    with socket.socket() as sock:
        sock.bind(("127.0.0.1", 0))
        return int(sock.getsockname()[1])


def _port(port: str, watts: float, time_s: float) -> list[Record]:
    return [
        Record(port, Quantity.PORT_STATE, PortState.DELIVERING, "", None, SOURCE, time_s),
        Record(port, Quantity.PORT_DRAW, watts, "W", Basis.MEASURED, SOURCE, time_s),
    ]
