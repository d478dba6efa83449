"""`portdraw alarms` and `portdraw status` against a real agent with TLS and tokens."""

from __future__ import annotations

import asyncio
import json
import subprocess
from pathlib import Path

import pytest
import trustme
from tests.cli.command import portdraw
from tests.cli.conftest import Call
from tests.service.certificates import TLS, TLS_WITH_CA, write_certificate
from tests.service.emulated_agent import OPERATE_TOKEN, READ_TOKEN, TOKENS, emulated_agent, run, until
from tests.service.slipway import free_tcp_port

from portdraw.judgement.alarm import AlarmKind, AlarmState

WHICH = ("--kind", "local-ac-lost", "--unit", "slip")
SHELF = (*WHICH, "--owner", "harbour electrician", "--reason", "relay on order", "--hours", "4")


async def call(*words: str, **more: str) -> subprocess.CompletedProcess[str]:
    """Run a command while the agent goes on in this process; no secret is in anything it says."""
    done = await asyncio.to_thread(portdraw, *words, more=more)
    assert OPERATE_TOKEN not in done.stdout + done.stderr
    assert READ_TOKEN not in done.stdout + done.stderr
    return done


def test_an_alarm_is_handled_over_tls_with_the_settings_alone(tmp_path: Path) -> None:
    write_certificate(tmp_path, trustme.CA())

    async def work() -> None:
        async with emulated_agent(tmp_path, f"{TLS}, {TOKENS}", port=free_tcp_port()) as one:
            await until(lambda: one.state(AlarmKind.LOCAL_AC_LOST) is AlarmState.RAISED)
            settings = ("--settings", str(one.settings))
            told = await call("alarms", *settings)
            assert told.returncode == 1
            assert "raised, warning: " in told.stdout
            assert "    --kind local-ac-lost --unit slip\n" in told.stdout
            assert (await call("status", *settings)).returncode == 1
            done = await call("alarms", "shelve", *settings, *SHELF)
            assert (done.returncode, done.stderr) == (0, "")
            assert done.stdout.startswith("shelved by harbour electrician, warning: Set aside until ")
            again = await call("alarms", "acknowledge", *settings, *WHICH)
            assert (again.returncode, again.stdout) == (1, "")
            assert again.stderr == "not done: the alarm is not in a state in which one can acknowledge it\n"
            back = await call("alarms", "unshelve", *settings, *WHICH, "--json")
            assert (back.returncode, json.loads(back.stdout)["was"]) == (0, "shelved")
            nobody = await call("alarms", "acknowledge", *settings, "--kind", "drift", "--unit", "slip")
            assert (nobody.returncode, nobody.stderr) == (1, "not done: there is no such alarm\n")

            url, ca = ("--url", one.agent.address), ("--ca", str(tmp_path / "ca.crt"))
            refused = await call("alarms", *url, *ca)
            assert refused.returncode == 2
            assert "refuses: A token is needed: " in refused.stderr
            assert (await call("alarms", *url, *ca, PORTDRAW_TOKEN=READ_TOKEN)).returncode == 1
            refused = await call("alarms", "acknowledge", *url, *ca, *WHICH, PORTDRAW_TOKEN=READ_TOKEN)
            assert (refused.returncode, "may read, but not operate" in refused.stderr) == (2, True)
            strange = await call("status", *url, PORTDRAW_TOKEN=READ_TOKEN)
            assert strange.returncode == 3
            assert "its certificate is not trusted" in strange.stderr

    run(work)


def test_a_client_certificate_opens_it_too(tmp_path: Path) -> None:
    ca = trustme.CA()
    write_certificate(tmp_path, ca)
    mine = ca.issue_cert(common_name="shift")
    mine.cert_chain_pems[0].write_to_path(tmp_path / "mine.crt")
    mine.private_key_pem.write_to_path(tmp_path / "mine.key")

    async def work() -> None:
        async with emulated_agent(tmp_path, TLS_WITH_CA, port=free_tcp_port()) as one:
            settings = ("--settings", str(one.settings))
            shown = ("--certificate", str(tmp_path / "mine.crt"), "--key", str(tmp_path / "mine.key"))
            assert (await call("alarms", *settings, *shown)).returncode in (0, 1)
            without = await call("alarms", *settings)
            assert (without.returncode, without.stderr.count("\n")) == (2, 1)
            assert "asks every client for a certificate" in without.stderr
            without = await call("alarms", "--url", one.agent.address, "--ca", str(tmp_path / "ca.crt"))
            assert (without.returncode, without.stderr.count("\n")) == (3, 1)
            assert (await call("alarms", *settings, "--certificate", "mine.crt")).returncode == 2

    run(work)


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (("alarms",), "say where the agent is: --settings FILE or --url"),
        (
            ("alarms", "shelve", "--url", "http://127.0.0.1:9"),
            "shelve needs --kind, --unit, --owner, --reason, --hours",
        ),
        (("alarms", "acknowledge", "--url", "http://127.0.0.1:9", *SHELF), "go with shelve only"),
        (("alarms", "shelve", "--url", "http://127.0.0.1:9", *SHELF[:-1], "169"), "at most 168"),
        (("alarms", "shelve", "--url", "http://127.0.0.1:9", *SHELF[:-1], "nan"), "at most 168"),
        (("alarms", "--url", "http://192.0.2.1:8437"), "a token is not sent in clear beyond this machine"),
    ],
)
def test_wrong_words_are_one_sentence(call: Call, words: tuple[str, ...], sentence: str) -> None:
    done = call(*words, more={"PORTDRAW_TOKEN": READ_TOKEN})
    assert (done.returncode, done.stdout, done.stderr.count("\n")) == (2, "", 1)
    assert sentence in done.stderr
    assert READ_TOKEN not in done.stderr
