"""The container file: what it is built from, as whom it runs, and its steps followed in plain folders.

No container engine runs here: the instructions are parsed, and the RUN lines of the build are run by a shell with
/src and /opt moved into a throw-away folder, with Python's own packages and nothing else.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from tests.deploy.containerfile import Instruction, instructions

ROOT = Path(__file__).resolve().parents[2]
FILE = ROOT / "deploy" / "Containerfile"
ALL = instructions(FILE)
FINAL = [one for one in ALL if one.stage == ALL[-1].stage]
# https://docs.docker.com/reference/dockerfile, overview of instructions
KNOWN = {"FROM", "WORKDIR", "COPY", "RUN", "ENV", "USER", "VOLUME", "EXPOSE", "HEALTHCHECK", "STOPSIGNAL"} | {
    "ENTRYPOINT",
    "CMD",
}


def only(word: str, among: list[Instruction] = FINAL) -> Instruction:
    """Return the one instruction of a kind."""
    found = [one for one in among if one.word == word]
    assert len(found) == 1, word
    return found[0]


def test_a_line_that_is_no_instruction_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "Containerfile"
    path.write_text("FROM a:1\ncopy x y\n", encoding="utf-8")
    with pytest.raises(ValueError, match="no instruction: copy"):
        instructions(path)


def test_only_known_instructions_and_nothing_from_elsewhere() -> None:
    assert {one.word for one in ALL} <= KNOWN  # no ADD among them: nothing is fetched from an address
    assert not any("://" in one.rest for one in ALL if one.word in ("COPY", "RUN"))


def test_the_base_is_pinned_by_a_tag() -> None:
    bases = [one.words[0] for one in ALL if one.word == "FROM"]
    assert bases == ["python:3.12-slim", "python:3.12-slim"]


def test_every_source_of_a_copy_is_there_and_may_be_seen_by_the_build() -> None:
    seen = (FILE.parent / "Containerfile.dockerignore").read_text(encoding="utf-8").splitlines()
    for one in ALL:
        if one.word == "COPY" and not any(option.startswith("--from=") for option in one.options):
            for source in one.words[:-1]:
                assert (ROOT / source).exists(), source
                assert f"!{source.removeprefix('./')}" in seen


def test_it_runs_as_nobody_in_particular() -> None:
    user = only("USER").rest
    assert user == "10001:10001"
    assert FINAL.index(only("USER")) < FINAL.index(only("ENTRYPOINT"))
    owned = next(one for one in FINAL if one.word == "RUN").rest
    assert f"chown {user} {only('VOLUME').rest}" in owned


def test_it_runs_the_agent_on_the_mounted_settings() -> None:
    assert only("ENTRYPOINT").words == ["/opt/portdraw/bin/portdraw"]
    assert only("CMD").words == ["run", "--settings", "/etc/portdraw/settings.yaml"]
    assert only("EXPOSE").rest == "8437"


def test_its_health_check_asks_a_path_that_is_served() -> None:
    check = only("HEALTHCHECK")
    command = Instruction("CMD", check.rest.split(" CMD ", 1)[1], 0).words
    assert command[:2] == ["/opt/portdraw/bin/python", "-c"]
    address = dict(part.split("=", 1) for part in only("ENV").rest.split())["PORTDRAW_HEALTH"]
    assert address == "http://127.0.0.1:8437/health"
    done = subprocess.run(  # nobody listens there: the check fails, and not by a fault of its own
        [sys.executable, *command[1:]],
        env={**os.environ, "PORTDRAW_HEALTH": "http://127.0.0.1:1/health"},
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert done.returncode != 0
    assert "Connection refused" in done.stderr


def test_its_steps_make_a_command_that_works(tmp_path: Path) -> None:
    """Needs the way to packages that deploy/setup.sh needs as well."""
    build = [one for one in ALL if one.stage == 0]
    source, target = tmp_path / "src", tmp_path / "opt"
    (source / "deploy").mkdir(parents=True)
    target.mkdir()

    def moved(text: str) -> str:
        return text.replace("/opt/", f"{target}/").replace("python -m venv", f"{sys.executable} -m venv")

    for one in build:
        if one.word == "COPY":
            *names, to = one.words
            for name in names:
                place = source / to / name if len(names) > 1 else source / to
                if (ROOT / name).is_dir():
                    shutil.copytree(ROOT / name, place, ignore=shutil.ignore_patterns("__pycache__"))
                else:
                    shutil.copy(ROOT / name, place)
        elif one.word == "RUN":
            command = moved(one.rest.replace("--no-cache-dir ", ""))  # a cache of packages saves the test its time
            done = subprocess.run(
                ["sh", "-euc", command], cwd=source, capture_output=True, text=True, timeout=600, check=False
            )
            assert done.returncode == 0, done.stderr
    shutil.rmtree(source)  # the second stage has the installed folder only
    command = str(target / "portdraw" / "bin" / "portdraw")
    environment = {"PATH": os.environ["PATH"], "HOME": str(tmp_path)}
    told = subprocess.run(
        [command, "plan", "--help"], env=environment, capture_output=True, text=True, timeout=60, check=False
    )
    assert told.returncode == 0, told.stderr
    where = subprocess.run(
        [str(Path(command).with_name("python")), "-c", "import portdraw; print(portdraw.__file__)"],
        env=environment,
        capture_output=True,
        text=True,
        timeout=60,
        check=True,
    ).stdout
    assert where.startswith(str(target))
    site = next((target / "portdraw").rglob("rehearsal/site.yaml"))
    plan = subprocess.run(
        [command, "plan", str(site), "--json"],
        env=environment,
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert plan.returncode in (0, 1), plan.stderr  # the ferry terminal has findings, on purpose
