"""Receivers of the settings, each made into its notifier; what is wrong is told at its place."""

from __future__ import annotations

from pathlib import Path

import pytest
import trustme
from tests.service.slipway import SETTINGS, changed, write_folder

from portdraw.plan.plan_error import PlanError
from portdraw.reporting.notify.alertmanager import Alertmanager
from portdraw.reporting.notify.attempt import Notifier
from portdraw.reporting.notify.syslog import Syslog
from portdraw.reporting.notify.webhook import Webhook
from portdraw.service.notifiers import notifiers
from portdraw.service.settings import SettingsError, load_settings

SECRET = "receiver-secret-of-the-desk"


def made(folder: Path, receiver: str, emulated: bool = False) -> Notifier:
    path = write_folder(folder, changed("access:", f"receivers: {{one: {{{receiver}}}}}\naccess:"))
    (folder / "key").write_text(SECRET)
    return notifiers(load_settings(path), emulated=emulated)["one"]


def test_each_kind_with_all_it_can_have(tmp_path: Path) -> None:
    trustme.CA().cert_pem.write_to_path(tmp_path / "ca.pem")
    hook = made(tmp_path, 'webhook: "https://127.0.0.1:1/x", secret: {file: key}, ca: ca.pem')
    assert isinstance(hook, Webhook)
    assert (hook.way, hook.secret) == ("webhook", SECRET.encode())
    assert hook.tls is not None
    assert len(hook.tls.get_ca_certs()) == 1  # that one alone
    log = made(tmp_path, 'syslog: "tls://127.0.0.1:6514", facility: local3, ca: ca.pem')
    assert isinstance(log, Syslog)
    assert (log.way, log.facility) == ("syslog over TLS", 19)
    plain = made(tmp_path, 'syslog: "udp://127.0.0.1:514"')
    assert isinstance(plain, Syslog)
    assert (plain.way, plain.facility, plain.tls) == ("syslog over UDP", 16, None)
    am = made(tmp_path, 'alertmanager: "http://127.0.0.1:9093", user: watch, password: {file: key}')
    assert isinstance(am, Alertmanager)
    assert (am.way, am.user, am.password, am.token) == ("Alertmanager", "watch", SECRET.encode(), None)
    for one in (hook, log, am):
        assert SECRET not in repr(one)
        assert "127.0.0.1" not in repr(one)


@pytest.mark.parametrize(
    ("receiver", "sentence"),
    [
        ("", "a receiver is exactly one of webhook, syslog and alertmanager; this one has none"),
        ('webhook: "http://h/", syslog: "udp://h:1"', "this one has webhook and syslog"),
        ('syslog: "udp://h:1", secret: {file: key}', "secret goes with webhook only"),
        ('webhook: "http://h/", facility: local0', "facility goes with syslog only"),
        ('webhook: "http://h/", token: {file: key}', "token goes with alertmanager only"),
        ('alertmanager: "http://h/", user: watch', "user and password go together"),
        ('alertmanager: "http://h/", password: {file: key}', "user and password go together"),
        (
            'alertmanager: "http://h/", user: a, password: {file: key}, token: {file: key}',
            "has both a token and a user",
        ),
        ('webhook: "http://h/", ca: ca.pem', "ca goes with https:// and tls:// only"),
        ('syslog: "tcp://h:1", ca: ca.pem', "ca goes with https:// and tls:// only"),
        (
            'syslog: "tcp://h"',
            "must be tcp://HOST:PORT, tls://HOST:PORT or udp://HOST:PORT, and nothing after the port",
        ),
        ('syslog: "http://h:1"', "must begin with tcp://, tls:// or udp:// and name a host"),
        ('alertmanager: "tcp://h:1"', "must begin with http:// or https:// and name a host"),
        ('webhook: "http://user:laid-bare@h/"', "must hold no user name or password"),
        ('syslog: "udp://h:1", facility: kern', "must be user, daemon, local0"),
        ('alertmanager: "http://h/", user: "a:b", password: {file: key}', "receivers.one.user"),
    ],
)
def test_what_does_not_fit_together_is_told_at_its_place(tmp_path: Path, receiver: str, sentence: str) -> None:
    with pytest.raises(PlanError) as caught:
        made(tmp_path, receiver)
    told = str(caught.value)
    line = SETTINGS[: SETTINGS.index("access:")].count("\n") + 1
    assert told.startswith(f"{tmp_path / 'settings.yaml'}:{line}:")
    assert "receivers.one" in told
    assert sentence in told
    assert "laid-bare" not in told


@pytest.mark.parametrize(
    "receiver",
    ['webhook: "https://desk.example/"', 'syslog: "udp://10.0.0.9:514"', 'alertmanager: "http://am.example"'],
)
def test_an_emulated_site_tells_this_machine_only(tmp_path: Path, receiver: str) -> None:
    assert made(tmp_path, receiver).url
    with pytest.raises(SettingsError, match="EMULATED: the site is a rehearsal"):
        made(tmp_path, receiver, emulated=True)


@pytest.mark.parametrize(
    ("text", "sentence"), [(None, "there is no file"), ("no PEM", "holds no certificate in PEM form")]
)
def test_a_ca_file_that_can_not_be_used(tmp_path: Path, text: str | None, sentence: str) -> None:
    if text is not None:
        (tmp_path / "ca.pem").write_text(text)
    with pytest.raises(SettingsError) as caught:
        made(tmp_path, 'webhook: "https://127.0.0.1/", ca: ca.pem')
    assert sentence in str(caught.value)
    assert "receivers.one.ca: " in str(caught.value)
