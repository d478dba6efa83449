"""Tokens of the settings: what the loader refuses, what is refused at the start, and that no secret is told."""

from __future__ import annotations

from pathlib import Path

import pytest
from tests.plan.samples import where
from tests.service.certificates import TLS, TLS_WITH_CA
from tests.service.emulated_agent import OPERATE_TOKEN, READ_TOKEN, SECRETS, TOKENS
from tests.service.slipway import changed, write_folder

from portdraw.plan.plan_error import PlanError
from portdraw.reporting.http.access import Permission
from portdraw.service.settings import LoadedSettings, SettingsError, load_settings
from portdraw.service.web_access import token_secret, web_rules


def text_with(listen: str, host: str = "10.20.0.2") -> str:
    return changed("host: 127.0.0.1, port: 0", f"{listen}{', ' if listen else ''}host: {host}, port: 0")


def loaded(folder: Path, listen: str, host: str = "10.20.0.2", **secrets: str) -> LoadedSettings:
    return load_settings(write_folder(folder, text_with(listen, host), secrets={**SECRETS, **secrets}))


@pytest.mark.parametrize(
    "listen",
    [f"{TLS}, {TOKENS}", TLS_WITH_CA, f"{TLS_WITH_CA}, {TOKENS}", f"{TOKENS}, plain_http: behind-proxy"],
)
@pytest.mark.parametrize("host", ["10.20.0.2", "0.0.0.0", '"::"', '"2001:db8::1"'])
def test_beyond_this_machine_with_authentication(tmp_path: Path, listen: str, host: str) -> None:
    rules = web_rules(loaded(tmp_path, listen, host))
    assert not rules.access.is_open
    assert rules.tls is ("tls:" in listen)
    assert rules.behind_proxy is ("behind-proxy" in listen)


@pytest.mark.parametrize(
    ("listen", "host", "at", "sentence"),
    [
        ("", "10.20.0.2", "10.20.0.2", "listen.host: is not this machine's loopback; pages are served without"),
        (TLS, "10.20.0.2", "10.20.0.2", "listen.host: is not this machine's loopback; pages are served without"),
        ("plain_http: behind-proxy", "0.0.0.0", "0.0.0.0", "served without authentication"),
        (TOKENS, "10.20.0.2", "10.20.0.2", "a token must not travel in clear: set tls"),
        (f"{TLS}, {TOKENS}", "terminal.example", "terminal.example", "must be an address of this machine"),
        (f"{TLS}, {TOKENS}, plain_http: behind-proxy", '"::1"', "{tls", "exclude each other"),
        ("tokens: {a: {secret: {file: a}, scopes: [write]}}", "127.0.0.1", "write", "listen.tokens"),
        ("tokens: {a: {secret: {file: a}, scopes: []}}", "127.0.0.1", "[]", "listen.tokens"),
        ("tokens: {a: hunter2-do-not-tell}", "127.0.0.1", "hunter2", "listen.tokens"),
        ("tls: {certificate: tls.crt}", "127.0.0.1", "{certificate", "needs the key 'key'"),
        ("names: [a b]", "127.0.0.1", "a b", "listen.names"),
    ],
)
def test_what_the_loader_refuses(tmp_path: Path, listen: str, host: str, at: str, sentence: str) -> None:
    text = text_with(listen, host)
    path = write_folder(tmp_path, text)
    with pytest.raises(PlanError) as caught:
        load_settings(path)
    told = str(caught.value)
    assert sentence in told
    assert told.startswith(f"{path}:{where(text, at).partition(':')[0]}:")
    assert "hunter2" not in told
    assert "\n" not in told


@pytest.mark.parametrize(
    ("secret", "sentence"),
    [
        ("fifteen-octets-", "is shorter than 16 octets, which can be guessed"),
        ("sixteen octets and blanks", "holds a character that no bearer token has"),
        (OPERATE_TOKEN, "another token has the same secret"),
        ("", "is empty"),
    ],
)
def test_an_unfit_token_is_one_sentence_without_the_token(tmp_path: Path, secret: str, sentence: str) -> None:
    with pytest.raises(SettingsError, match=sentence) as caught:
        web_rules(loaded(tmp_path, TOKENS, "127.0.0.1", scraper=secret))
    told = str(caught.value)
    assert told.startswith(f"{tmp_path / 'settings.yaml'}:4:")
    assert "\n" not in told
    assert not secret or secret not in told


def test_rules_hold_no_secret_and_commands_find_the_right_one(tmp_path: Path) -> None:
    one = loaded(tmp_path, TOKENS, "127.0.0.1")
    rules = web_rules(one)
    assert READ_TOKEN not in f"{rules!r}{vars(one)}"
    assert token_secret(one, Permission.READ) == READ_TOKEN.encode()
    assert token_secret(one, Permission.OPERATE) == OPERATE_TOKEN.encode()
    assert token_secret(loaded(tmp_path, "", "127.0.0.1"), Permission.READ) is None


def test_without_authentication_only_names_of_ours_are_answered(tmp_path: Path) -> None:
    assert web_rules(loaded(tmp_path, TOKENS, "127.0.0.1")).names is None
    names = web_rules(loaded(tmp_path, "names: [Desk.Terminal.example]", "127.0.0.1")).names
    assert names == frozenset({"127.0.0.1", "::1", "localhost", "desk.terminal.example"})
