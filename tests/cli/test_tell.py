"""`portdraw tell`: a trial message to each receiver, and how each went."""

from __future__ import annotations

import json
import re
from contextlib import closing
from datetime import datetime
from pathlib import Path

import pytest
from tests.cli.background import Background
from tests.cli.conftest import Call
from tests.reporting.notify.real_alertmanager import RealAlertmanager
from tests.reporting.notify.rsyslog import Rsyslog
from tests.service.receiver import Receiver
from tests.service.slipway import changed, write_folder

from portdraw.cli.tell import moment_words
from portdraw.history.store import History

UNACKNOWLEDGED = "sent and read to its end; syslog acknowledges nothing, so look at the receiver"


def folder_with(tmp_path: Path, receivers: str) -> str:
    return str(write_folder(tmp_path, changed("access:", f"receivers:\n{receivers}\naccess:")))


def test_every_kind_takes_it_and_its_date_is_kept(call: Call, tmp_path: Path) -> None:
    with Background() as background, Rsyslog(tmp_path / "rs") as log, RealAlertmanager(tmp_path / "am") as am:
        desk = background.do(Receiver().start())
        settings = folder_with(
            tmp_path,
            f'  desk: {{webhook: "{desk.url}"}}\n'
            f'  log: {{syslog: "tls://127.0.0.1:{log.tls}", ca: rs/ca.pem}}\n'
            f'  am: {{alertmanager: "{am.url}"}}',
        )
        with closing(History.open(tmp_path / "history", "Atlantic/Faroe")):
            pass
        first = call("tell", "--settings", settings)
        assert (first.returncode, first.stderr) == (0, "")
        assert [line.split(": ")[0] for line in first.stdout.splitlines()] == [
            "desk (webhook)",
            "log (syslog over TLS)",
            "am (Alertmanager)",
        ]
        assert first.stdout.count(": taken in ") == 2
        assert f"log (syslog over TLS): {UNACKNOWLEDGED}\n" in first.stdout
        again = call("tell", "--settings", settings, "log", "--json")
        (row,) = json.loads(again.stdout)["receivers"]
        assert (row["receiver"], row["taken"], row["acknowledged"], row["error"]) == ("log", True, False, "")
        assert row["taken_before_at"].startswith("20")
        background.do(desk.stop())
        assert [message["state"] for message in desk.heard] == ["trial"]
        assert "nothing has happened" in desk.heard[0]["text"]
        assert [line["kind"] for line in log.rows(2)] == ["trial", "trial"]
        assert [alert["labels"]["alertname"] for alert in am.active()] == ["portdraw-trial"]
    with closing(History.open(tmp_path / "history", "Atlantic/Faroe", read_only=True)) as history:
        assert [event.kind for event in history.events(0, 1e12)] == ["receiver-trial"] * 4


def test_who_does_not_take_it_is_told_and_is_code_3(call: Call, tmp_path: Path) -> None:
    settings = folder_with(
        tmp_path, '  desk: {webhook: "http://127.0.0.1:1/sesame"}\n  log: {syslog: "tcp://127.0.0.1:1"}'
    )
    done = call("tell", "--settings", settings)
    assert done.returncode == 3
    nobody = "NOT taken: no connection: nothing listens there, or its name is not known"
    assert done.stdout.splitlines() == [f"desk (webhook): {nobody}", f"log (syslog over TCP): {nobody}"]
    assert not (tmp_path / "history").exists()  # nothing is begun for it


def test_wrong_input_is_one_sentence(call: Call, tmp_path: Path) -> None:
    unknown = call("tell", "--settings", folder_with(tmp_path, '  desk: {webhook: "http://127.0.0.1:1/"}'), "pager")
    assert (unknown.returncode, unknown.stdout) == (2, "")
    assert unknown.stderr.endswith("settings.yaml: no receiver is named 'pager'; there are: desk\n")
    none = call("tell", "--settings", str(write_folder(tmp_path)))
    assert (none.returncode, none.stdout) == (2, "")
    assert none.stderr.endswith("settings.yaml: there is no receiver to tell\n")


def test_an_emulated_site_s_trial_says_so(call: Call, tmp_path: Path) -> None:
    with Background() as background:
        desk = background.do(Receiver().start())
        settings = folder_with(tmp_path, f'  desk: {{webhook: "{desk.url}"}}')
        with closing(History.open(tmp_path / "history", "Atlantic/Faroe", emulated=True)):
            pass
        done = call("tell", "--settings", settings)
        background.do(desk.stop())
    assert done.returncode == 0
    assert done.stdout.startswith("EMULATED\n")
    assert desk.heard[0]["text"].startswith("EMULATED: ")
    assert desk.heard[0]["emulated"] is True


def test_over_plain_tcp_nothing_is_said_to_be_taken(call: Call, tmp_path: Path) -> None:
    """RFC 6587 knows no acknowledgement; the moment of the trial before is told as a person says it."""
    with Rsyslog(tmp_path / "rs") as log:
        settings = folder_with(tmp_path, f'  log: {{syslog: "tcp://127.0.0.1:{log.tcp}"}}')
        with closing(History.open(tmp_path / "history", "Atlantic/Faroe")):
            pass
        first = call("tell", "--settings", settings)
        again = call("tell", "--settings", settings)
    assert first.stdout == f"log (syslog over TCP): {UNACKNOWLEDGED}\n"
    moment = "(at [0-9:]{8} today|on [0-9-]{10} at [0-9:]{8})"
    assert re.fullmatch(rf"log \(syslog over TCP\): {UNACKNOWLEDGED}; before that {moment}\n", again.stdout)


@pytest.mark.parametrize(
    ("now", "words"),
    [("2026-11-24T16:20:00+00:00", "at 16:12:35 today"), ("2026-11-25T09:00:00+00:00", "on 2026-11-24 at 16:12:35")],
)
def test_a_moment_in_a_sentence(now: str, words: str) -> None:
    told_s = datetime.fromisoformat("2026-11-24T16:12:35+00:00").timestamp()
    assert moment_words(told_s, "UTC", datetime.fromisoformat(now).timestamp()) == words
