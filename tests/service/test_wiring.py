"""Putting an agent together: names and addresses are checked where they stand, emulated sites tell nobody else."""

from __future__ import annotations

from pathlib import Path

import pytest
from tests.plan.samples import where
from tests.service.slipway import ACCESS, AUTH, SETTINGS, SITE, changed, slipway, write_folder

from portdraw.history.store import HistoryError
from portdraw.plan.address_check import check_addresses
from portdraw.plan.loader import parse_site
from portdraw.plan.plan_error import PlanError
from portdraw.reporting.notify.webhook import Webhook
from portdraw.service.clock import Clock
from portdraw.service.settings import SettingsError, load_settings
from portdraw.service.wiring import Parts, gather, open_history, unit_readers

HOOK = "receivers: {desk: {webhook: WHERE, secret: {file: hook}}}\naccess:"
HOOK_SECRET = "hook-secret-of-the-desk"


class NoEngine:
    """Stands where an engine would; nothing is asked."""

    async def get(self, *_: object) -> None:
        raise AssertionError

    get_bulk = get

    async def close(self) -> None:
        raise AssertionError


def parts(tmp_path: Path, settings: str = SETTINGS, site: str = SITE, emulated: bool = False) -> Parts:
    path = write_folder(tmp_path, settings, site)
    (tmp_path / "hook").write_text(HOOK_SECRET)
    return gather(load_settings(path), emulated=emulated)


def test_everything_is_there_and_nothing_is_shown(tmp_path: Path) -> None:
    found = parts(tmp_path, changed("access:", HOOK.replace("WHERE", "http://127.0.0.1:9/x")))
    assert set(found.accesses) == {ACCESS}
    assert found.destinations == {"desk": Webhook("http://127.0.0.1:9/x", HOOK_SECRET.encode())}
    assert HOOK_SECRET not in repr(found)
    assert AUTH not in repr(found)
    assert not found.emulated


def test_an_unknown_access_is_told_at_its_place_with_those_declared(tmp_path: Path) -> None:
    site = SITE.replace("10.30.0.3\n    access: slip-v3", "10.30.0.3\n    access: slip-v2")
    with pytest.raises(PlanError) as caught:
        parts(tmp_path, site=site)
    assert str(caught.value) == (
        f"{tmp_path / 'site.yaml'}:{where(site, 'slip-v2')}: units.slip.access: 'slip-v2' is not declared under "
        f"access in {tmp_path / 'settings.yaml'} (declared: slip-v3); did you mean 'slip-v3'?"
    )


def test_settings_without_any_access_say_none(tmp_path: Path) -> None:
    with pytest.raises(PlanError) as caught:
        parts(tmp_path, settings="format: 1\nsite: site.yaml\n")
    assert str(caught.value).count("(declared: none)") == 1
    assert "; so in " in str(caught.value)


def test_missing_secrets_are_told_in_the_same_go(tmp_path: Path) -> None:
    site = SITE.replace("10.30.0.3\n    access: slip-v3", "10.30.0.3\n    access: moon")
    path = write_folder(tmp_path, SETTINGS, site)
    for name in ("auth", "privacy"):
        (tmp_path / name).unlink()
    with pytest.raises(SettingsError) as caught:
        gather(load_settings(path))
    lines = str(caught.value).splitlines()
    assert len(lines) == 3
    assert "'moon' is not declared" in lines[0]
    assert all("there is no file" in line for line in lines[1:])


@pytest.mark.parametrize(
    ("address", "sentence"),
    [
        ("10.30.0.3:0", "its port between 1 and 65535"),
        ("10.30.0.3:70000", "its port between 1 and 65535"),
        ("'slip way'", "must be a host or host:port"),
        ("'[::1'", "must be a host or host:port"),
    ],
)
def test_an_address_that_is_none(tmp_path: Path, address: str, sentence: str) -> None:
    site = changed("10.30.0.3", address, SITE)
    with pytest.raises(PlanError) as caught:
        parts(tmp_path, site=site)
    told = str(caught.value)
    assert told.startswith(f"{tmp_path / 'site.yaml'}:{where(site, address)}: units.slip.address: ")
    assert sentence in told
    assert "\n" not in told


def test_access_none_is_not_read(tmp_path: Path) -> None:
    site = SITE.replace("    access: slip-v3\n    supplies: [{from: slip-2}]", "    supplies: [{from: slip-2}]")
    found = parts(tmp_path, site=site)
    readers = unit_readers(found.site, NoEngine(), Clock())  # type: ignore[arg-type]
    assert [reader.name for reader in readers] == ["winch-house"]
    assert [name for name, unit in slipway().units.items() if unit.readable] == ["winch-house", "slip"]


def test_a_ups_with_an_address_is_read_like_a_unit(tmp_path: Path) -> None:
    ups = "ups:\n  ups-a: {input: slip-1, rating_w: 900, battery_wh: 1200, address: 10.30.0.9, access: slip-v3}\n"
    found = parts(tmp_path, site=SITE.replace("device_types:", f"{ups}device_types:"))
    readers = unit_readers(found.site, NoEngine(), Clock())  # type: ignore[arg-type]
    assert [reader.name for reader in readers] == ["winch-house", "slip", "ups-a"]
    with pytest.raises(PlanError, match=r"ups\.ups-a\.access: 'slip-v4' is not declared under access"):
        parts(tmp_path, site=SITE.replace("device_types:", f"{ups.replace('slip-v3', 'slip-v4')}device_types:"))
    twice = parse_site(SITE.replace("device_types:", f"{ups.replace('10.30.0.9', '10.30.0.3')}device_types:"))
    assert [finding.sentence for finding in check_addresses(twice)] == [
        "its address 10.30.0.3 is that of slip too: one would be read as the other."
    ]


@pytest.mark.parametrize(
    "url", ["http://10.0.0.5:8438/alarms", "https://desk.example/alarms", "http://localhost.example/"]
)
def test_an_emulated_site_tells_this_machine_only(tmp_path: Path, url: str) -> None:
    text = changed("access:", HOOK.replace("WHERE", f'"{url}"'))
    assert parts(tmp_path, text).destinations["desk"].url == url
    with pytest.raises(SettingsError) as caught:
        parts(tmp_path, text, emulated=True)
    told = str(caught.value)
    assert told.startswith(
        f"{tmp_path / 'settings.yaml'}:{where(text, chr(34) + url)}: receivers.desk.webhook: EMULATED"
    )
    assert "this machine only" in told
    assert url not in told


@pytest.mark.parametrize("url", ["http://127.0.0.1:1/a", "http://[::1]:1/a", "http://localhost:1/a"])
def test_an_emulated_site_may_tell_loopback(tmp_path: Path, url: str) -> None:
    found = parts(tmp_path, changed("access:", HOOK.replace("WHERE", f'"{url}"')), emulated=True)
    assert found.emulated
    assert found.destinations["desk"].url == url


def test_a_receiver_s_secret_that_is_missing(tmp_path: Path) -> None:
    text = changed("access:", HOOK.replace("WHERE", "http://127.0.0.1:9/x"))
    path = write_folder(tmp_path, text)
    with pytest.raises(SettingsError) as caught:
        gather(load_settings(path))
    assert str(caught.value) == (
        f"{path}:{where(text, '{file: hook}')}: receivers.desk.secret: there is no file {tmp_path / 'hook'}"
    )


def test_a_site_file_that_is_not_there(tmp_path: Path) -> None:
    path = write_folder(tmp_path)
    (tmp_path / "site.yaml").unlink()
    with pytest.raises(PlanError, match=r"site\.yaml: there is no such file"):
        gather(load_settings(path))


def test_the_history_of_an_emulated_site_is_marked_and_kept_apart(tmp_path: Path) -> None:
    open_history(parts(tmp_path, emulated=True)).close()
    with pytest.raises(HistoryError, match="is marked EMULATED; a real site needs a folder of its own"):
        open_history(parts(tmp_path))


def test_a_history_folder_that_is_a_file(tmp_path: Path) -> None:
    (tmp_path / "history").write_text("mine")
    with pytest.raises(HistoryError, match=r"history folder .* can't be used: File exists"):
        open_history(parts(tmp_path))
    assert (tmp_path / "history").read_text() == "mine"


def test_a_history_that_is_no_database_is_left_as_it_is(tmp_path: Path) -> None:
    (tmp_path / "history").mkdir()
    file = tmp_path / "history" / "history.sqlite"
    file.write_bytes(b"not a database, but somebody's work" * 10)
    before = file.read_bytes()
    with pytest.raises(HistoryError, match="it is no database"):
        open_history(parts(tmp_path))
    assert file.read_bytes() == before
