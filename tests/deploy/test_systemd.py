"""The systemd unit, judged by systemd's own tools, and its paths held against each other."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

from tests.requirements import need_program

from portdraw.reading.access import User
from portdraw.service.secrets_of import accesses
from portdraw.service.settings import load_settings

DEPLOY = Path(__file__).resolve().parents[2] / "deploy"
UNIT = DEPLOY / "portdraw.service"
TEXT = UNIT.read_text(encoding="utf-8")
MOST_EXPOSED = 2.0
YOURS = ("compose/secrets", "compose/site.yaml", "kubernetes/secrets", "kubernetes/site.yaml")


def value(key: str) -> str:
    """Return the value of a key that is there once."""
    found: list[str] = re.findall(rf"^{key}=(.*)$", TEXT, re.MULTILINE)
    assert len(found) == 1, key
    return found[0]


def analyze(*words: str) -> subprocess.CompletedProcess[str]:
    command = [need_program("systemd-analyze"), *words]
    return subprocess.run(command, capture_output=True, text=True, timeout=60, check=False)


def test_it_exposes_little() -> None:
    done = analyze("security", "--offline=true", "--no-pager", str(UNIT))
    found = re.search(r"Overall exposure level for portdraw\.service: ([0-9.]+)", done.stdout)
    assert found is not None, done.stdout + done.stderr
    assert float(found[1]) < MOST_EXPOSED


def test_the_measure_notices_a_bare_unit(tmp_path: Path) -> None:
    bare = tmp_path / "portdraw.service"
    bare.write_text("[Service]\nExecStart=/bin/true\n", encoding="utf-8")
    done = analyze("security", "--offline=true", "--no-pager", f"--threshold={MOST_EXPOSED * 10:.0f}", str(bare))
    assert done.returncode != 0


def test_systemd_finds_no_fault(tmp_path: Path) -> None:
    """The command is not installed here: another one stands in for it."""
    path = tmp_path / UNIT.name
    path.write_text(TEXT.replace("/opt/portdraw/.venv/bin/portdraw", sys.executable), encoding="utf-8")
    done = analyze("verify", "--man=no", str(path))
    assert (done.returncode, done.stdout + done.stderr) == (0, "")


def test_a_key_that_systemd_does_not_know_is_noticed(tmp_path: Path) -> None:
    path = tmp_path / UNIT.name
    text = TEXT.replace("/opt/portdraw/.venv/bin/portdraw", sys.executable).replace("PrivateTmp=", "PrivateTemp=")
    path.write_text(text, encoding="utf-8")
    assert "PrivateTemp" in analyze("verify", "--man=no", str(path)).stderr


def test_its_settings_fit_it() -> None:
    """Secrets come from the credentials of this very unit, the history lies where it may write."""
    loaded = load_settings(DEPLOY / "settings.service.yaml")
    name, folder = value("LoadCredential").split(":")
    handed_over = f"/run/credentials/{UNIT.name}/{name}_"  # systemd.exec(5), LoadCredential of a folder
    assert loaded.history_folder == Path("/var/lib") / value("StateDirectory")
    assert value("WorkingDirectory") == str(loaded.history_folder)
    for access in loaded.settings.access.values():
        for secret in (access.auth_secret, access.privacy_secret):
            assert secret is not None
            assert secret.file is not None
            assert secret.file.startswith(handed_over)
    command = value("ExecStart").split()
    assert command[1:3] == ["run", "--settings"]
    assert loaded.site_path.parent == Path(command[3]).parent == Path(folder).parent


def test_secrets_are_found_where_systemd_puts_them(tmp_path: Path) -> None:
    """By absolute paths, in a folder that is not the settings'; the folder of the credentials is moved."""
    credentials, elsewhere = tmp_path / "credentials", tmp_path / "etc"
    credentials.mkdir()
    elsewhere.mkdir()
    for name in ("secrets_auth", "secrets_privacy"):
        (credentials / name).write_text(f"{name} passphrase\n", encoding="utf-8")
    text = (DEPLOY / "settings.service.yaml").read_text(encoding="utf-8")
    path = elsewhere / "settings.yaml"
    path.write_text(text.replace(f"/run/credentials/{UNIT.name}", str(credentials)), encoding="utf-8")
    found = accesses(load_settings(path))["terminal-v3"]
    assert isinstance(found, User)
    assert (found.auth_secret, found.privacy_secret) == (b"secrets_auth passphrase", b"secrets_privacy passphrase")


def test_every_step_of_the_readme_names_files_that_are_there() -> None:
    readme = (DEPLOY / "README.md").read_text(encoding="utf-8")
    for name in set(re.findall(r"(?<![\w/])deploy/([\w./-]+\w)", readme)):
        mine = name.startswith(YOURS)
        assert mine or (DEPLOY / name).exists(), name
    assert value("ExecStart").split()[0] in readme
    assert f"useradd --system --home-dir /var/lib/portdraw --shell /usr/sbin/nologin {value('User')}" in readme
