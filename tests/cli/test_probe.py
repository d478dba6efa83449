"""`portdraw probe` on a recorded switch that a real snmpd serves, with right and wrong words."""

from __future__ import annotations

import json
import socket
from collections.abc import Iterator
from pathlib import Path

import pytest
from tests.cli.command import portdraw
from tests.cli.conftest import Call
from tests.cli.recorded_switch import DELIVERING, SECRETS, SETTINGS, USER, recorded_switch, recorded_w, write_files
from tests.reading.real_agent import COMMUNITY, RealAgent

RIGHT = {"PORTDRAW_COMMUNITY": COMMUNITY.decode()}
WRONG = "not-the-community-of-this-switch"


@pytest.fixture(scope="module")
def switch() -> Iterator[RealAgent]:
    with recorded_switch() as agent:
        yield agent


def test_a_table_says_state_watts_and_where_from(switch: RealAgent) -> None:
    done = portdraw("probe", switch.address, "--community", more=RIGHT)
    assert (done.returncode, done.stderr) == (0, "")
    rows = {line.split()[0]: line.split() for line in done.stdout.splitlines() if line.startswith("100")}
    assert len(rows) == 8
    for port, watts in recorded_w().items():
        row = rows[str(DELIVERING[port])]
        assert row[1:3] == ["delivering", f"{watts:.1f}"]
    assert sum(1 for row in rows.values() if row[1] == "searching") == 5
    assert "EXTREME-POE-MIB extremePethPortMeasuredPower" in done.stdout
    assert max(map(len, done.stdout.splitlines())) <= 100
    assert COMMUNITY.decode() not in done.stdout


@pytest.mark.parametrize("access", ["slip-v3", "slip-v2"])
def test_json_by_each_access_of_the_settings(call: Call, switch: RealAgent, tmp_path: Path, access: str) -> None:
    settings = write_files(tmp_path, switch.address)
    words = ["probe", switch.address, "--settings", str(settings), "--access", access, "--json"]
    done = call(*words, more=SECRETS)
    assert (done.returncode, done.stderr) == (0, "")
    told = json.loads(done.stdout)
    assert told["outcome"] == "answered"
    draws = {
        record["port"]: record["value"]
        for record in told["records"]
        if record["quantity"] == "port draw" and record["value"]
    }
    assert draws == pytest.approx({str(DELIVERING[port]): watts for port, watts in recorded_w().items()})
    for secret in SECRETS.values():
        assert secret not in done.stdout


def test_a_wrong_community_is_code_3_and_both_reasons_are_said(call: Call, switch: RealAgent) -> None:
    words = ["probe", switch.address, "--community", "--deadline-s", "1.5"]
    done = portdraw(*words, more={"PORTDRAW_COMMUNITY": WRONG})
    assert done.returncode == 3
    said = " ".join(done.stdout.split())
    assert "no answer" in said
    assert "a wrong community or privacy secret looks the same as silence" in said
    assert WRONG not in done.stdout + done.stderr
    as_json = call(*words, "--json", more={"PORTDRAW_COMMUNITY": WRONG})
    assert as_json.returncode == 3
    assert json.loads(as_json.stdout)["outcome"] == "no answer"
    assert WRONG not in as_json.stdout + as_json.stderr


@pytest.mark.parametrize(
    ("old", "new", "outcome", "words"),
    [
        (USER.user, "nobody", "credentials refused", "user"),
        ("{file: auth}", "{env: WRONG_SECRET}", "credentials refused", "authentication"),
        ("{env: SLIP_PRIVACY}", "{env: WRONG_SECRET}", "credentials refused", "privacy secret"),
    ],
)
def test_wrong_v3_credentials_are_told_apart(
    call: Call, switch: RealAgent, tmp_path: Path, old: str, new: str, outcome: str, words: str
) -> None:
    settings = write_files(tmp_path, switch.address, settings=SETTINGS.replace(old, new, 1))
    done = call(
        *("probe", switch.address, "--settings", str(settings), "--access", "slip-v3"),
        *("--json", "--deadline-s", "30"),
        more={**SECRETS, "WRONG_SECRET": WRONG},
    )
    assert done.returncode == 3
    told = json.loads(done.stdout)
    assert told["outcome"] == outcome
    assert words in told["reason"]
    assert WRONG not in done.stdout + done.stderr


def test_a_dead_address_is_code_3_in_bounded_time() -> None:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sock:
        sock.bind(("127.0.0.1", 0))
        address = f"127.0.0.1:{sock.getsockname()[1]}"
        done = portdraw("probe", address, "--community", "--deadline-s", "1", more=RIGHT, within_s=60)
    assert done.returncode == 3
    assert f"{address} gave no answer within 1 s" in done.stdout


def test_a_name_that_leads_nowhere_is_code_3(call: Call) -> None:
    """A name under .invalid never leads anywhere (RFC 2606, section 2)."""
    done = call("probe", "switch.invalid", "--community", "--deadline-s", "3", more=RIGHT)
    assert done.returncode == 3
    assert "switch.invalid" in done.stdout


@pytest.mark.parametrize(
    "address", ["", "slip way", "127.0.0.1:0", "127.0.0.1:snmp", "127.0.0.1:99999", "[::1", "::1::2"]
)
def test_what_is_no_address_is_code_2(call: Call, address: str) -> None:
    done = call("probe", address, "--community", more=RIGHT)
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr.count("\n") == 1
    assert "is not an address" in done.stderr or "the port must be between 1 and 65535" in done.stderr


def test_how_to_ask_must_be_said(call: Call, tmp_path: Path) -> None:
    settings = write_files(tmp_path, "127.0.0.1:9")
    for words, sentence in (
        ([], "say how to ask: --settings FILE --access NAME, or --community"),
        (["--community"], "the environment variable PORTDRAW_COMMUNITY is not set"),
        (["--settings", str(settings)], "no access is called None (declared: slip-v3, slip-v2)"),
        (
            ["--settings", str(settings), "--access", "other"],
            "no access is called 'other' (declared: slip-v3, slip-v2)",
        ),
        (["--settings", str(tmp_path)], "is a folder, not a file"),
    ):
        done = call("probe", "127.0.0.1:9", *words, more=SECRETS)
        assert (done.returncode, done.stdout) == (2, "")
        assert done.stderr.count("\n") == 1
        assert sentence in done.stderr
