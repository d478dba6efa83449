"""A switch whose neighbours have names full of script, escapes and formulas: inert wherever they are shown.

The names come in over real SNMP and go out as page, JSON, metrics, log, message, terminal and audit.
"""

from __future__ import annotations

import asyncio
import csv
import logging
import unicodedata
from pathlib import Path
from typing import Any

import httpx
import pytest
from prometheus_client.parser import text_string_to_metric_families
from tests.cli.command import portdraw
from tests.reading import ber
from tests.reading.scripted_agent import COMMUNITY, IF_NAME, scripted_agent, switch_rows
from tests.service.emulated_agent import SCALE, run, until
from tests.service.receiver import Receiver
from tests.service.slipway import NOON_S, SETTINGS, changed, free_tcp_port, write_folder

from portdraw.judgement.alarm import AlarmKind, AlarmState
from portdraw.service.agent import Agent
from portdraw.service.clock import Clock
from portdraw.service.settings import load_settings
from portdraw.service.wiring import gather, open_history

SCRIPT = "<script>alert(1)</script>"
NAMES = [
    f"\"'>{SCRIPT}<img src=x onerror=alert(2)>",
    '=HYPERLINK("http://192.0.2.1")\x1b]0;owned\x07\x1b[2J\u202e\u2028end',
    '{{7*7}}\n2026-03-02 12:00:00,000 INFO forged line\r\nportdraw_forged{a="b"} 1\x00',
]
SYS_NAME = (1, 3, 6, 1, 2, 1, 1, 5, 0)  # SNMPv2-MIB sysName
REMOTE_NAME = (1, 0, 8802, 1, 1, 2, 1, 4, 1, 1, 9)  # LLDP-MIB lldpRemSysName: time mark, local port, row


def hostile_rows() -> dict[ber.Arcs, bytes]:
    rows = switch_rows()
    rows[SYS_NAME] = ber.tlv(ber.OCTETS, NAMES[0].encode())
    for port in range(1, 9):
        name = ber.tlv(ber.OCTETS, NAMES[port % 3].encode())
        rows[(*REMOTE_NAME, 0, port, 1)] = name
        rows[(*IF_NAME, port)] = name
    return rows


def hidden(text: str, allowed: str = "") -> set[str]:
    """Return the characters of a text that act instead of showing (Unicode categories Cc, Cf, Zl, Zp)."""
    return {
        letter
        for letter in text
        if unicodedata.category(letter) in ("Cc", "Cf", "Zl", "Zp") and letter not in allowed
    }


def texts_of(value: Any) -> list[str]:
    """Return all texts of a JSON value, keys too."""
    if isinstance(value, dict):
        return [text for key, one in value.items() for text in (key, *texts_of(one))]
    if isinstance(value, list):
        return [text for one in value for text in texts_of(one)]
    return [value] if isinstance(value, str) else []


def test_hostile_names_are_inert_everywhere(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    caplog.set_level(logging.DEBUG, logger="portdraw")

    async def work() -> None:
        desk = await Receiver().start()
        async with scripted_agent(rows=hostile_rows()) as winch, scripted_agent(rows=hostile_rows()) as slip:
            told = SETTINGS[SETTINGS.index("    version: 3") :]
            text = changed(told, "    version: 2\n    community: {file: community}\n")
            text = changed("access:", f'receivers: {{desk: {{webhook: "{desk.url}"}}}}\naccess:', text)
            text = changed("port: 0", f"port: {free_tcp_port()}", text)
            addresses = {"winch-house": winch.address, "slip": slip.address}
            settings = write_folder(tmp_path, text, secrets={"community": COMMUNITY.decode()}, addresses=addresses)
            parts = gather(load_settings(settings))
            history = open_history(parts)
            agent = Agent(parts, history, Clock(NOON_S, SCALE))
            stop = asyncio.Event()
            task = asyncio.create_task(agent.run(stop))
            try:
                await until(lambda: is_up(agent, AlarmKind.DEVICE_UNPLANNED))
                await desk.until(3, 60)
                await look_at_pages(agent)
                shown = await asyncio.to_thread(portdraw, "status", "--settings", str(settings))
                assert "HYPERLINK" in "".join(shown.stdout.split())
                assert hidden(shown.stdout + shown.stderr, "\n") == set()
                listed = await asyncio.to_thread(portdraw, "alarms", "--settings", str(settings))
                assert "HYPERLINK" in listed.stdout
                assert hidden(listed.stdout, "\n") == set()
            finally:
                stop.set()
                await task
                history.close()
                await desk.stop()
        assert any("HYPERLINK" in text for text in texts_of(desk.heard))
        assert not any(hidden(text) for text in texts_of(desk.heard))

    run(work)
    assert "HYPERLINK" in caplog.text
    assert not any(hidden(record.getMessage()) for record in caplog.records if record.name.startswith("portdraw"))
    look_at_audit(tmp_path)


def is_up(agent: Agent, kind: AlarmKind) -> bool:
    site = agent.assessment()
    up = () if site is None else [alarm for alarm in site.alarms if alarm.state is AlarmState.RAISED]
    return sum(alarm.kind is kind for alarm in up) >= 3


async def look_at_pages(agent: Agent) -> None:
    async with httpx.AsyncClient(trust_env=False, timeout=30) as client:
        pages = [
            (await client.get(f"{agent.address}{path}")).text for path in ("/", "/unit/winch-house", "/unit/slip")
        ]
        site = (await client.get(f"{agent.address}/api/v1/site")).json()
        metrics = (await client.get(f"{agent.address}/metrics")).text
    for page in pages:
        assert SCRIPT not in page
        assert "<img" not in page
        assert hidden(page, "\n") == set()
    assert any("&lt;script&gt;alert(1)&lt;/script&gt;" in page for page in pages)
    assert any("{{7*7}}" in page for page in pages)  # shown, not worked out
    assert any("HYPERLINK" in text for text in texts_of(site))
    assert not any(hidden(text) for text in texts_of(site))
    names = {sample.name for family in text_string_to_metric_families(metrics) for sample in family.samples}
    assert "portdraw_unit_draw_watts" in names
    assert "portdraw_forged" not in names
    assert hidden(metrics, "\n") == set()


def look_at_audit(folder: Path) -> None:
    """Every file of the audit: the page without the script, the tables without a formula, no hidden character."""
    out = folder / "audit"
    period = ("--from", "2026-03-02", "--to", "2026-03-02")
    done = portdraw("audit", "--settings", str(folder / "settings.yaml"), *period, "--out", str(out))
    assert done.returncode in (0, 1), done.stderr
    files = {file: file.read_text(encoding="utf-8") for file in out.rglob("*") if file.is_file()}
    assert {file.suffix for file in files} == {".html", ".csv", ".json"}
    assert any("HYPERLINK" in text for text in files.values())
    for file, text in files.items():
        assert hidden(text, "\r\n") == set(), file.name
        if file.suffix == ".html":
            assert SCRIPT not in text
            assert "<img" not in text
        if file.suffix == ".csv":
            cells = [cell for row in csv.reader(text.splitlines()) for cell in row]
            assert not [cell for cell in cells if cell[:1] in "=@" and cell]
