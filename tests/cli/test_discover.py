"""`portdraw discover` on the emulated ferry terminal, whose truth is known, on real agents, and with wrong words."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from tests.cli.background import Background
from tests.cli.command import portdraw
from tests.cli.conftest import Call
from tests.cli.recorded_switch import write_files
from tests.reading.real_agent import COMMUNITY, real_agent
from tests.rehearsal.terminal import NOON_S, terminal
from tests.requirements import need_recordings

from portdraw.plan.loader import load_site
from portdraw.plan.site import Port, Site
from portdraw.rehearsal.emulated_site import EmulatedSite
from portdraw.rehearsal.neighbour_rows import SILENT_TYPES
from portdraw.rehearsal.story import STILL
from portdraw.rehearsal.truth import SiteTruth

RIGHT = {"PORTDRAW_COMMUNITY": COMMUNITY.decode()}
SETTINGS = """\
format: 1
site: site.yaml
access:
  terminal-v3: {version: 3, user: USER, auth_secret: {file: auth}, privacy_secret: {file: privacy}}
"""
AT_S = NOON_S + 600
ROUNDING_W = 0.0506  # a draft has watts to one place, the unit tells whole milliwatts


@contextmanager
def emulated_terminal(folder: Path) -> Iterator[tuple[Path, dict[str, str], SiteTruth]]:
    """Run the ferry terminal; yield the settings file that reads it, where its units are, and what is true."""
    emulated = EmulatedSite(terminal(), lambda: AT_S, NOON_S, seed=5, story=STILL)
    held = emulated.credentials
    for name, secret in (("auth", held.auth_secret), ("privacy", held.priv_secret)):
        (folder / name).touch(mode=0o600)
        (folder / name).write_text(secret)
    settings = folder / "settings.yaml"
    settings.write_text(SETTINGS.replace("USER", held.user))
    with Background() as background:
        addresses = background.do(emulated.start())
        try:
            yield settings, addresses, emulated.truth(AT_S)
        finally:
            background.loop.call_soon_threadsafe(emulated.stop)


def planned_class(port: Port, site: Site) -> int:
    told = port.device_class if port.device_class is not None else site.device_types[port.type or ""].device_class
    assert isinstance(told, int)
    return told


def test_the_ferry_terminal_is_found_as_it_is(tmp_path: Path) -> None:
    """All units, all feeds, every powered device; names of all that speak LLDP, watts where the unit tells them."""
    truth, out = terminal(), tmp_path / "draft.yaml"
    with emulated_terminal(tmp_path) as (settings, addresses, true):
        words = ["discover", addresses["core"], "--settings", str(settings), "--out", str(out)]
        for name, address in addresses.items():
            words += ["--address-of", f"{name}={address}"]
        done = portdraw(*words)
    assert (done.returncode, done.stdout) == (0, f"{out}: a draft of 9 units; 0 neighbours not read\n")
    text = out.read_text()
    assert "# EMULATED" in text
    draft = load_site(out)
    assert set(draft.units) == set(truth.units)
    right = devices = 0
    for name, unit in truth.units.items():
        found = draft.units[name]
        assert (found.address, found.access, found.place) == (addresses[name], "terminal-v3", unit.place)
        assert found.pse is not None
        assert unit.pse is not None
        assert found.pse.ports == unit.pse.ports
        assert (found.fed is None) == (unit.fed is None)
        feeds = {key: port.feeds for key, port in unit.ports.items() if port.feeds}
        assert {key: port.feeds for key, port in found.ports.items() if port.feeds} == feeds
        for key, port in unit.ports.items():
            assert found.ports[key].label == port.label
            if port.device is None:
                continue
            devices += 1
            told = found.ports[key]
            named = told.device == (port.label if port.type in SILENT_TYPES else port.device)
            right += named and told.device_class == min(4, planned_class(port, truth))
            assert told.priority == port.priority
            if name == "waiting-room":  # tells its total only
                assert told.typical_w is None
            else:
                drawn_w = true.units[name].port_w[key]
                assert told.typical_w == pytest.approx(drawn_w, abs=ROUNDING_W)
        spare = set(found.ports) - set(unit.ports)
        assert all(found.ports[key].device is None for key in spare)
    print(f"{right} of {devices} devices right")
    assert devices > 40
    assert right == devices
    assert text.endswith("#   core: nothing supplies or feeds this unit.\n")
    planned = portdraw("plan", str(out))
    assert planned.returncode == 1  # it can be read and planned by; what it lacks is a finding
    assert "core: nothing supplies or feeds this unit." in planned.stdout


def test_from_any_unit_and_without_addresses_what_is_not_reached_is_told(call: Call, tmp_path: Path) -> None:
    """LLDP has no port: all units of the emulation say 127.0.0.1, where at the start's port the start itself is."""
    out = tmp_path / "draft.yaml"
    with emulated_terminal(tmp_path) as (settings, addresses, _):
        words = ["discover", addresses["north-pier"], "--settings", str(settings), "--out", str(out)]
        done = call(*words, "--address-of", f"core={addresses['core']}", "--hops", "1")
    assert done.returncode == 1
    assert set(load_site(out).units) == {"north-pier", "core"}
    assert "not read: breakwater" in done.stderr
    text = out.read_text()
    assert '# not read: "breakwater"' in text
    assert "another unit answers there: north-pier" in text
    assert load_site(out).units["core"].ports["1"].feeds == "north-pier"


@pytest.mark.parametrize(
    ("recording", "devices"),
    # ports that deliver: the recordings' README
    [
        ("eight-port-measured", 3),
        ("private-table-only-measured", 9),
        ("zero-based-names-idle", 0),
        ("stack-2x48-idle", 0),
        ("optical-watts-no-poe", 0),
    ],
)
def test_recorded_agents_give_drafts_that_load(call: Call, tmp_path: Path, recording: str, devices: int) -> None:
    out = tmp_path / "draft.yaml"
    with real_agent(need_recordings() / f"{recording}.snmprec") as agent:
        done = call("discover", agent.address, "--community", "--out", str(out), more=RIGHT)
    assert done.returncode in (0, 1), done.stderr
    text = out.read_text()
    lines = [line for line in text.splitlines() if "{device:" in line]
    assert len(lines) == devices
    assert all("guess" in line or "not told" in line for line in lines)
    assert COMMUNITY.decode() not in text + done.stdout + done.stderr
    (unit,) = load_site(out).units.values()
    assert unit.address == agent.address
    assert call("plan", str(out)).returncode == 1


def lines_of(chassis: str, ports: int, neighbour: str, address: str) -> str:
    """Return a recording of a small switch: chassis, power ports of which the first delivers, one LLDP neighbour."""
    lines = [f"1.0.8802.1.1.2.1.3.2.0|4|{chassis}"]
    lines += [f"1.0.8802.1.1.2.1.4.1.1.5.0.1.1|4|{neighbour}", f"1.0.8802.1.1.2.1.4.1.1.9.0.1.1|4|{neighbour}"]
    lines += ["1.0.8802.1.1.2.1.4.1.1.12.0.1.1|4x|20", f"1.0.8802.1.1.2.1.4.2.1.3.0.1.1.1.4.{address}|2|2"]
    lines += [f"1.3.6.1.2.1.2.2.1.3.{port}|2|6" for port in range(1, ports + 1)]
    lines += [f"1.3.6.1.2.1.105.1.1.1.6.1.{port}|2|{3 if port == 1 else 2}" for port in range(1, ports + 1)]
    lines += [f"1.3.6.1.2.1.105.1.1.1.10.1.{port}|2|5" for port in range(1, ports + 1)]
    lines += ["1.3.6.1.2.1.105.1.3.1.1.2.1|66|120"]
    return "\n".join(lines) + "\n"


def test_real_agents_are_found_by_the_management_addresses_that_lldp_tells(call: Call, tmp_path: Path) -> None:
    """Two snmpd on two loopback addresses and one port; each is the other's neighbour, the first feeds the second."""
    (tmp_path / "a.snmprec").write_text(lines_of("box-a", 8, "box-b", "127.0.0.12"))
    (tmp_path / "b.snmprec").write_text(
        lines_of("box-b", 4, "box-a", "127.0.0.11").replace(".6.1.1|2|3", ".6.1.1|2|2")
    )
    out = tmp_path / "draft.yaml"
    with (
        real_agent(tmp_path / "a.snmprec", host="127.0.0.11") as first,
        real_agent(tmp_path / "b.snmprec", host="127.0.0.12", port=first.port) as second,
    ):
        assert second.port == first.port
        done = call("discover", first.address, "--community", "--out", str(out), more=RIGHT)
    assert done.returncode == 0, done.stderr
    one, other = load_site(out).units.items()
    assert (one[1].address, other[1].address) == (first.address, second.address)
    assert {key: port.feeds for key, port in one[1].ports.items()} == {"1": other[0]}
    assert other[1].fed is not None


def test_a_silent_start_is_code_3_and_leaves_no_file(call: Call, tmp_path: Path) -> None:
    out = tmp_path / "draft.yaml"
    done = call("discover", "switch.invalid", "--community", "--out", str(out), "--deadline-s", "2", more=RIGHT)
    assert done.returncode == 3
    assert "nothing was read, so no draft was written" in done.stderr
    assert not out.exists()


def test_a_file_that_is_there_stays(call: Call, tmp_path: Path) -> None:
    out = tmp_path / "site.yaml"
    out.write_text("mine")
    done = call("discover", "127.0.0.1:9", "--community", "--out", str(out), more=RIGHT)
    assert done.returncode == 2
    assert done.stderr == f"{out} is there already; another name, or --force to write over it\n"
    assert out.read_text() == "mine"


def test_wrong_words_are_one_sentence(call: Call, tmp_path: Path) -> None:
    settings = write_files(tmp_path, "127.0.0.1:9")
    out = ["--out", str(tmp_path / "draft.yaml")]
    nowhere = call("discover", "127.0.0.1:9", "--community", "--out", str(tmp_path / "no" / "draft.yaml"), more=RIGHT)
    assert (nowhere.returncode, nowhere.stdout) == (2, "")
    assert "there is no folder" in nowhere.stderr
    for words, sentence in (
        (["127.0.0.1:0", "--community"], "the port must be between 1 and 65535"),
        (["127.0.0.1"], "say how to ask: --settings FILE --access NAME, or --community"),
        (["127.0.0.1", "--community", "--within", "all"], "--within 'all' is not a network such as 10.20.0.0/22"),
        (["127.0.0.1", "--community", "--address-of", "core"], "--address-of 'core' is not NAME=HOST"),
        (["127.0.0.1", "--community", "--address-of", "core=a b"], "--address-of: 'a b' is not an address"),
        (["127.0.0.1", "--settings", str(settings), "--access", "x"], "no access is called 'x'"),
    ):
        done = call("discover", *words, *out, more={**RIGHT, "SLIP_PRIVACY": "x" * 9, "SLIP_COMMUNITY": "y"})
        assert done.returncode == 2, words
        assert sentence in done.stderr
        assert done.stderr.count("\n") == 1
