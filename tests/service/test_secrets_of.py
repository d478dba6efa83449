"""Secrets: fetched from where the settings say, or one sentence with its place; never shown."""

from __future__ import annotations

import logging
from pathlib import Path

import pytest
from tests.plan.samples import where
from tests.service.slipway import ACCESS, AUTH, PRIVACY, SETTINGS, changed, write_folder

from portdraw.reading.access import Community, User
from portdraw.service.secrets_of import accesses, is_open_to_all
from portdraw.service.settings import SettingsError, load_settings
from portdraw.service.settings_part import Secret

SHORT = "seven77"
VARIABLE = "PORTDRAW_TEST_SECRET"


def test_secrets_come_from_files_without_their_line_end(tmp_path: Path) -> None:
    path = write_folder(tmp_path, secrets={"auth": f"{AUTH}\r\n", "privacy": f" {PRIVACY} \n"})
    user = accesses(load_settings(path))[ACCESS]
    assert user == User("watch", "sha256", AUTH.encode(), "aes128", f" {PRIVACY} ".encode())


def test_secrets_come_from_the_environment(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(VARIABLE, "slipwäy")
    text = f"format: 1\nsite: s\naccess: {{a: {{version: 2c, community: {{env: {VARIABLE}}}}}}}\n"
    assert accesses(load_settings(write_folder(tmp_path, text)))["a"] == Community("slipwäy".encode())


def test_no_secret_is_needed_where_none_is_used(tmp_path: Path) -> None:
    text = "format: 1\nsite: s\naccess: {a: {version: 3, user: u, auth: none, privacy: none}}\n"
    assert accesses(load_settings(write_folder(tmp_path, text)))["a"] == User("u", "none", b"", "none", b"")


@pytest.mark.parametrize(
    ("contents", "sentence"),
    [
        (None, "there is no file"),
        ("", "is empty"),
        ("\r\n\n", "is empty"),
        (SHORT, "shorter than the 8 octets that SNMPv3 asks for (RFC 3414)"),
        ("x" * 4097, "is larger than 4096 octets, which no secret is"),
    ],
)
def test_a_secret_file_that_can_not_be_used(tmp_path: Path, contents: str | None, sentence: str) -> None:
    secrets = {"auth": AUTH} | ({} if contents is None else {"privacy": contents})
    path = write_folder(tmp_path, secrets=secrets)
    with pytest.raises(SettingsError) as caught:
        accesses(load_settings(path))
    told = str(caught.value)
    assert told.startswith(f"{path}:{where(SETTINGS, '{file: privacy}')}: access.{ACCESS}.privacy_secret: ")
    assert sentence in told
    assert "\n" not in told
    assert SHORT not in told
    assert AUTH not in told


def test_eight_octets_are_counted_not_letters(tmp_path: Path) -> None:
    """RFC 3414, section 11.2, counts octets: four letters of two octets each are enough."""
    user = accesses(load_settings(write_folder(tmp_path, secrets={"auth": "åßéñ", "privacy": PRIVACY})))[ACCESS]
    assert isinstance(user, User)
    assert len(user.auth_secret) == 8


def test_a_folder_is_no_secret(tmp_path: Path) -> None:
    path = write_folder(tmp_path, secrets={"auth": AUTH})
    (tmp_path / "privacy").mkdir()
    with pytest.raises(SettingsError, match=r"privacy_secret: .*privacy can't be read: Is a directory"):
        accesses(load_settings(path))


@pytest.mark.parametrize("value", [None, ""])
def test_a_variable_that_is_not_set(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, value: str | None) -> None:
    monkeypatch.delenv(VARIABLE, raising=False)
    if value is not None:
        monkeypatch.setenv(VARIABLE, value)
    text = changed("{file: auth}", f"{{env: {VARIABLE}}}")
    path = write_folder(tmp_path, text)
    with pytest.raises(SettingsError) as caught:
        accesses(load_settings(path))
    place = where(text, "{env:")
    assert str(caught.value) == (
        f"{path}:{place}: access.{ACCESS}.auth_secret: the environment variable {VARIABLE} is not set"
    )


def test_no_secret_is_shown_or_logged(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    with caplog.at_level(logging.DEBUG):
        found = accesses(load_settings(write_folder(tmp_path)))
    assert AUTH not in repr(found) + caplog.text
    assert PRIVACY not in repr(found) + caplog.text


def test_a_file_that_every_user_can_read_is_noticed(tmp_path: Path) -> None:
    write_folder(tmp_path)
    assert not is_open_to_all(Secret(file="auth"), tmp_path)
    (tmp_path / "auth").chmod(0o604)
    assert is_open_to_all(Secret(file="auth"), tmp_path)
    assert not is_open_to_all(Secret(file="nowhere"), tmp_path)
    assert not is_open_to_all(Secret(env=VARIABLE), tmp_path)
