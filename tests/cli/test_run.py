"""`portdraw run` and `portdraw status` on a recorded switch that a real snmpd serves, and on what can go wrong."""

from __future__ import annotations

import json
import signal
import socket
import time
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import httpx
import pytest
from tests.cli.command import Child, portdraw, started
from tests.cli.conftest import Call
from tests.cli.recorded_switch import SECRETS, SETTINGS, SITE, USER, recorded_switch, recorded_w, write_files
from tests.reading.real_agent import RealAgent
from tests.service.slipway import free_tcp_port

from portdraw.history.store import History
from portdraw.service.history_lock import history_lock


@pytest.fixture(scope="module")
def switch() -> Iterator[RealAgent]:
    with recorded_switch() as agent:
        yield agent


@pytest.fixture
def mute() -> Iterator[str]:
    """An address that takes questions and never answers."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sock:
        sock.bind(("127.0.0.1", 0))
        yield f"127.0.0.1:{sock.getsockname()[1]}"


def no_secret(text: str) -> None:
    for secret in (*SECRETS.values(), USER.auth_secret.decode()):
        assert secret not in text


# --- run --once


def test_once_reads_judges_prints_and_keeps_a_recorded_switch(switch: RealAgent, tmp_path: Path) -> None:
    settings = write_files(tmp_path, switch.address)
    done = portdraw("run", "--settings", str(settings), "--once", "--json", more=SECRETS)
    assert done.returncode == 0, done.stderr
    site = json.loads(done.stdout)
    (unit,) = site["units"]
    expected = recorded_w()
    drawn = {port["port"]: port["draw"]["value_w"] for port in unit["ports"] if port["draw"]["value_w"]}
    assert drawn == pytest.approx(expected)
    assert unit["draw"]["value_w"] == pytest.approx(sum(expected.values()))
    assert {port["draw"]["basis"] for port in unit["ports"] if port["port"] in expected} == {"measured"}
    assert (unit["poll"]["outcome"], site["emulated"], site["alarms"]) == ("answered", False, [])
    no_secret(done.stdout + done.stderr)
    history = History.open(tmp_path / "history", "Atlantic/Faroe", read_only=True)
    newest = history.last_hot("winch-house")
    history.close()
    assert newest is not None
    # kept to 0.1 W
    assert {port: newest.draw_w(port) for port in expected} == pytest.approx(expected, abs=0.05)


def test_a_second_agent_is_refused_and_a_look_beside_a_running_one_keeps_nothing(
    call: Call, switch: RealAgent, tmp_path: Path
) -> None:
    settings = write_files(tmp_path, switch.address)
    (tmp_path / "history").mkdir()
    with history_lock(tmp_path / "history") as held:
        assert held
        second = portdraw("run", "--settings", str(settings), more=SECRETS)
        look = portdraw("run", "--settings", str(settings), "--once", "--json", more=SECRETS)
    assert (second.returncode, second.stdout) == (2, "")
    assert second.stderr.startswith("another agent is writing the history in ")
    assert look.returncode == 0, look.stderr
    with closing(History.open(tmp_path / "history", "Atlantic/Faroe", read_only=True)) as history:
        assert history.last_hot("winch-house") is None


def test_once_as_a_table(switch: RealAgent, tmp_path: Path) -> None:
    settings = write_files(tmp_path, switch.address)
    done = portdraw("run", "--settings", str(settings), "--once", more=SECRETS)
    assert done.returncode == 0
    assert "winch-house" in done.stdout
    assert f"{sum(recorded_w().values()):.1f} of 170 W" in done.stdout
    assert max(map(len, done.stdout.splitlines())) <= 100


def test_once_with_something_to_act_on_is_code_1(switch: RealAgent, tmp_path: Path) -> None:
    unplanned = SITE[: SITE.index("      8:")]
    settings = write_files(tmp_path, switch.address, site=unplanned)
    done = portdraw("run", "--settings", str(settings), "--once", "--json", more=SECRETS)
    assert done.returncode == 1
    assert [(alarm["kind"], alarm["port"]) for alarm in json.loads(done.stdout)["alarms"]] == [
        ("unplanned-device", "1008")
    ]
    assert done.stderr.startswith(
        "exit code 1: 1 finding, not yet an alarm, as the on-delay is not over: winch-house "
    )
    assert done.stderr.count("\n") == 1


def test_once_on_a_dead_address_is_code_3(mute: str, tmp_path: Path) -> None:
    settings = write_files(tmp_path, mute, settings=SETTINGS.replace("deadline_s: 5", "deadline_s: 1"))
    done = portdraw("run", "--settings", str(settings), "--once", "--json", more=SECRETS)
    assert done.returncode == 3
    assert done.stderr == "exit code 3: not read: winch-house\n"
    (unit,) = json.loads(done.stdout)["units"]
    assert unit["poll"]["outcome"] == "no answer"
    assert "looks the same as silence" in unit["poll"]["reason"]
    assert unit["draw"]["value_w"] is None


# --- the service


def test_it_runs_is_asked_by_status_and_ends_on_sigterm(switch: RealAgent, tmp_path: Path) -> None:
    port = free_tcp_port()
    settings = write_files(tmp_path, switch.address, port)
    with started("run", "--settings", str(settings), cwd=tmp_path, more=SECRETS) as child:
        said = child.until("portdraw watches Skarholm slipway: 1 units to read")
        assert f"http://127.0.0.1:{port}" in said
        _until_ready(child, port)

        table = portdraw("status", "--settings", str(settings))
        assert (table.returncode, table.stderr) == (0, "")
        assert f"{sum(recorded_w().values()):.1f} of 170 W" in table.stdout
        as_json = portdraw("status", "--url", f"http://127.0.0.1:{port}/", "--json")
        assert as_json.returncode == 0
        assert json.loads(as_json.stdout)["site"] == "Skarholm slipway"

        other = tmp_path / "other"  # a history of its own, but the same port
        other.mkdir()
        second = portdraw("run", "--settings", str(write_files(other, switch.address, port)), more=SECRETS)
        assert second.returncode == 2
        assert second.stderr.count("\n") == 1
        assert f"listen: 127.0.0.1:{port} can't be used: Address already in use" in second.stderr

        child.signal(signal.SIGTERM)
        assert child.end(within_s=60) == 0  # generous: a few seconds are promised
        assert "stopped" in child.error_output
        no_secret(child.output + child.error_output)
    nothing = portdraw("status", "--settings", str(settings))
    assert nothing.returncode == 3
    assert nothing.stderr == f"no portdraw agent answers at http://127.0.0.1:{port}; is it running?\n"


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_a_hung_read_does_not_hold_up_the_end_and_is_named(mute: str, tmp_path: Path, number: signal.Signals) -> None:
    settings = write_files(tmp_path, mute, settings=SETTINGS.replace("deadline_s: 5", "deadline_s: 120"))
    with started("run", "--settings", str(settings), cwd=tmp_path, more=SECRETS) as child:
        child.until("portdraw watches")
        time.sleep(3)  # the first round begins within two seconds; earlier there is nothing to cut off
        child.signal(number)
        assert child.end(within_s=60) == 0  # the read itself would have lasted two minutes
        assert "stopped; reading was cut off for winch-house" in child.error_output


def _until_ready(child: Child, port: int) -> None:
    give_up = time.monotonic() + 60
    while time.monotonic() < give_up:
        assert child.process.poll() is None, child.error_output
        try:
            if httpx.get(f"http://127.0.0.1:{port}/ready", trust_env=False).status_code == httpx.codes.OK:
                return
        except httpx.HTTPError:
            pass
        time.sleep(0.1)
    raise AssertionError(child.error_output)


# --- what can go wrong before it starts


def refused(call: Call, settings: Path, more: dict[str, str] | None = None) -> str:
    """Run with these settings; return the one sentence that it ends with, in code 2."""
    done = call("run", "--settings", str(settings), more=SECRETS if more is None else more)
    assert done.returncode == 2
    assert done.stdout == ""
    assert done.stderr.count("\n") == 1
    no_secret(done.stderr)
    return done.stderr


@pytest.mark.parametrize(
    ("old", "new", "sentence"),
    [
        ("every_s: 1", "every_s: often", "poll.every_s: must be a number, is 'often'"),
        ("{env: SLIP_COMMUNITY}", f"{SECRETS['SLIP_COMMUNITY']}", "a secret never stands in this file"),
        ("{file: auth}", "{file: nowhere}", "access.slip-v3.auth_secret: there is no file"),
        ("  slip-v3:", "  slip-v4:", "'slip-v3' is not declared under access"),
        ("{port: PORT}", "{host: 0.0.0.0}", "is not this machine's loopback"),
        ("site: site.yaml", "site: elsewhere.yaml", "elsewhere.yaml: there is no such file"),
        ("access:", "history: {folder: auth}\naccess:", "history folder"),
        ("access:", "access: [", "is not closed"),
    ],
)
def test_settings_that_can_not_be_used(call: Call, tmp_path: Path, old: str, new: str, sentence: str) -> None:
    assert SETTINGS.count(old) == 1
    settings = write_files(tmp_path, "127.0.0.1:9", settings=SETTINGS.replace(old, new))
    assert sentence in refused(call, settings)


def test_a_variable_that_is_not_set(call: Call, tmp_path: Path) -> None:
    settings = write_files(tmp_path, "127.0.0.1:9")
    said = refused(call, settings, {"SLIP_COMMUNITY": "x"})
    assert "access.slip-v3.privacy_secret: the environment variable SLIP_PRIVACY is not set" in said


def test_settings_that_are_a_folder(call: Call, tmp_path: Path) -> None:
    assert "is a folder, not a file" in refused(call, tmp_path)


def test_a_history_that_is_no_database_is_left_as_it_is(call: Call, tmp_path: Path) -> None:
    settings = write_files(tmp_path, "127.0.0.1:9")
    (tmp_path / "history").mkdir()
    file = tmp_path / "history" / "history.sqlite"
    file.write_bytes(b"somebody's work, and no database")
    assert "(it is no database); move it away or choose another folder" in refused(call, settings)
    assert file.read_bytes() == b"somebody's work, and no database"


def test_a_secret_that_everybody_can_read_is_told_and_taken(call: Call, mute: str, tmp_path: Path) -> None:
    settings = write_files(tmp_path, mute, settings=SETTINGS.replace("deadline_s: 5", "deadline_s: 1"))
    (tmp_path / "auth").chmod(0o644)
    done = call("run", "--settings", str(settings), "--once", more=SECRETS)
    assert done.returncode == 3
    assert "access slip-v3: every user of this machine can read auth; make it chmod 600" in done.stderr
