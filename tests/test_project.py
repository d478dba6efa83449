"""The project tests itself: what it promises in its papers is there, and what it forbids itself is not."""

from __future__ import annotations

import ast
import hashlib
import re
import subprocess
import tomllib
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from types import UnionType
from typing import Annotated, Any, Union, get_args, get_origin

import pytest
import yaml
from pydantic import BaseModel
from starlette.routing import Route
from tests.reporting.samples import SampleSource
from tests.tools.readme_tables import with_life, with_tables

from portdraw.cli.commands import app
from portdraw.judgement.alarm import AlarmKind
from portdraw.judgement.alarm_rule import ALARM_RULES
from portdraw.reporting.http.app import build_app
from portdraw.reporting.metric_catalogue import BY_NAME
from portdraw.reporting.metrics import site_registry
from portdraw.reporting.notify.webhook import SIGNATURE_HEADER
from portdraw.service.settings import Settings

ROOT = Path(__file__).resolve().parent.parent
AGENT = ROOT / "agent" / "portdraw"
README = (ROOT / "README.md").read_text(encoding="utf-8")
MODULES = sorted(AGENT.rglob("*.py"))
LONGEST_MODULE = 350
# modules that may be longer, and why
LONGER = {
    "history/store.py": "everything that touches the database's connection and lock stands together",
    "reading/pysnmp_engine.py": "the one module that may know the SNMP library",
}
# settings that the sample file does not show, and why
NOT_IN_THE_SAMPLE: dict[str, str] = {}


@cache
def tracked() -> tuple[Path, ...]:
    """Return the files under version control and those about to be, or all that a copy without it holds."""
    command = ["git", "-C", str(ROOT), "ls-files", "--cached", "--others", "--exclude-standard"]
    done = subprocess.run(command, capture_output=True, text=True, timeout=60, check=False)
    names = done.stdout.split("\n") if done.returncode == 0 else []
    found = [ROOT / name for name in names if name]
    if not found:
        hidden = (".git", ".venv", ".mypy_cache", ".ruff_cache", ".pytest_cache", ".hypothesis")
        found = [path for path in ROOT.rglob("*") if not set(path.relative_to(ROOT).parts) & {*hidden, "__pycache__"}]
    return tuple(path for path in found if path.is_file())


def texts() -> Iterator[tuple[str, str]]:
    """Yield name and text of every tracked text file."""
    for path in tracked():
        try:
            yield str(path.relative_to(ROOT)), path.read_text(encoding="utf-8")
        except UnicodeDecodeError:
            continue  # a picture


def name_of(path: Path) -> str:
    return str(path.relative_to(AGENT))


# --- what the papers promise


@pytest.mark.parametrize("command", [str(command.name) for command in app.registered_commands])
def test_every_command_has_its_line_in_the_readme(command: str) -> None:
    assert re.search(rf"^\| `portdraw {command}\b[^|]*\|[^|]+\|$", README, re.MULTILINE)


def test_the_readme_names_no_command_that_is_not_there() -> None:
    there = {str(command.name) for command in app.registered_commands}
    named = set(re.findall(r"`(?:\.venv/bin/)?portdraw ([a-z]+)", README))
    assert named <= there


def test_the_tables_of_metrics_and_alarms_are_those_of_the_code() -> None:
    """Mend with `python -m tests.tools.readme_tables`."""
    assert with_tables(README) == README


def test_the_life_of_an_alarm_is_told_as_the_code_has_it() -> None:
    """Mend with `python -m tests.tools.readme_tables`."""
    developers = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    assert with_life(developers) == developers


def test_every_kind_of_alarm_has_a_rule_and_a_line() -> None:
    block = README.split("<!-- alarms -->")[1].split("<!-- /alarms -->")[0]
    assert set(ALARM_RULES) == set(AlarmKind)
    assert re.findall(r"^\| `([a-z-]+)`", block, re.MULTILINE) == [kind.value for kind in ALARM_RULES]


def test_every_metric_has_a_line() -> None:
    block = README.split("<!-- metrics -->")[1].split("<!-- /metrics -->")[0]
    assert re.findall(r"^\| `(portdraw_\w+)`", block, re.MULTILINE) == list(BY_NAME)


def test_dashboards_ask_for_metrics_that_are_there() -> None:
    queries = yaml.safe_load((ROOT / "dashboards" / "queries.yaml").read_text(encoding="utf-8"))["queries"]
    for query in queries:
        names = set(re.findall(r"\bportdraw_\w+", query["expr"]))
        assert names, query["title"]
        assert names <= set(BY_NAME), query["title"]


def test_every_path_that_is_served_is_in_the_readme() -> None:
    source = SampleSource(None, None)  # type: ignore[arg-type]
    for route in build_app(source, site_registry(source)).routes:
        assert isinstance(route, Route)
        assert f"`{route.path.replace('{name}', 'NAME')}`" in README


def test_the_readme_names_the_header_that_is_sent() -> None:
    assert f"`{SIGNATURE_HEADER}`" in README


def test_every_setting_is_in_the_sample() -> None:
    sample = (ROOT / "deploy" / "settings.example.yaml").read_text(encoding="utf-8")
    missing = {name for name in _settings(Settings) if not re.search(rf"\b{name}:", sample)}
    assert missing == set(NOT_IN_THE_SAMPLE)


def _settings(model: type[BaseModel]) -> Iterator[str]:
    """Yield the names of all keys, but not those of a private column: the key that holds it stands for them."""
    for name, field in model.model_fields.items():
        yield name
        if name != "columns":
            for part in _models(field.annotation):
                yield from _settings(part)


def _models(kind: Any) -> Iterator[type[BaseModel]]:
    if isinstance(kind, type) and issubclass(kind, BaseModel):
        yield kind
    elif get_origin(kind) in (dict, tuple, Union, UnionType, Annotated):
        for part in get_args(kind):
            yield from _models(part)


def test_the_version_is_that_of_the_newest_changes() -> None:
    version = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]["version"]
    sections = re.findall(r"^## (.+)$", README, re.MULTILINE)
    assert sections[-1] == "Changes"
    newest = re.findall(r"^### (\S+)", README.split("\n## Changes\n")[1], re.MULTILINE)[0]
    assert newest == version


def test_every_change_says_what_kind_it_is() -> None:
    lines = re.findall(r"^- (.*)$", README.split("\n## Changes\n")[1], re.MULTILINE)
    assert lines
    assert all(line.startswith(("Added: ", "Changed: ", "Fixed: ", "Removed: ")) for line in lines)


@pytest.mark.parametrize(
    "paper", ["README.md", "DEVELOPERS.md", "mibs/README.md", "dashboards/README.md", "deploy/README.md"]
)
def test_every_link_inside_the_project_leads_somewhere(paper: str) -> None:
    text = (ROOT / paper).read_text(encoding="utf-8")
    for target in re.findall(r"\]\(([^)#]+)", text):
        if "://" not in target:
            assert ((ROOT / paper).parent / target).exists(), target


# --- what the project forbids itself


@pytest.mark.parametrize("path", [path for path in MODULES if path.name == "__init__.py"], ids=name_of)
def test_a_package_holds_its_question_and_no_code(path: Path) -> None:
    body = ast.parse(path.read_text(encoding="utf-8")).body
    assert len(body) == 1
    assert isinstance(body[0], ast.Expr)
    assert isinstance(body[0].value, ast.Constant)
    assert isinstance(body[0].value.value, str)


def test_every_package_has_its_docstring() -> None:
    folders = {path.parent for path in MODULES}
    assert all((folder / "__init__.py").is_file() for folder in folders)


@pytest.mark.parametrize("path", MODULES, ids=name_of)
def test_a_module_says_what_it_is_and_is_not_too_long(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    assert ast.get_docstring(ast.parse(text))
    if name_of(path) not in LONGER:
        assert len(text.splitlines()) <= LONGEST_MODULE


def test_no_exception_from_the_length_is_left_over() -> None:
    for name in LONGER:
        assert len((AGENT / name).read_text(encoding="utf-8").splitlines()) > LONGEST_MODULE, name


@pytest.mark.parametrize("path", MODULES, ids=name_of)
def test_nothing_writes_to_a_switch(path: Path) -> None:
    """By the names that pysnmp 7 has for sending SNMP SET (RFC 3416, section 4.2.5), and by its tag, 0xA3.

    The emulated agents have the other side of it: they refuse what would be written to them.
    """
    words = r"SetRequest|set_?cmd|SetCommandGenerator|cmdgen\.Set|0xA3\b"
    assert re.findall(words, path.read_text(encoding="utf-8"), re.IGNORECASE) == []


# The first twelve digits of SHA-256 of names in small letters, so that the names do not stand here either:
# makers of switches and products for the same job, which no file may name (a MIB module keeps its own name) ...
_NAMES = """
    e73b79a0b10f 2fcc9256ec11 35ab2b8fa9e0 e383b7c53698 25aec3597b11 17840323ea59 f1a54130f4c7 429bae13f944
    d7aba0f660c4 6e27a9221f48 f0ece703585e 777bb2ce0ca8 af69032f4a93 673ca3e002aa d3bad8e76967 b81c8201acfc
    7de355f41161 397eda9f502e 046d10bcf458 da2f417984df de09c12648bc 5d7f056e9310 8185baeac4a7 d0e2ece166bd
    e35bd923db41 28236bb68000 c5f975b35c72 caf1c06dcf80 e383c017e4e1 5b1f182899f6 2eb9c534258d 9168cfa8efbe
    d41f407b4548 9be86f84d21c b694abf539d5 437785b04d83 57f03b8f334f 474cb35097bb 5830c3189672 b2be55fe5988
    9fafab482247 279cbb04b1e1 34b63c22e887 8695cbd0202d
"""
# ... and hosts of package registries
_HOSTS = """
    a4aa2ac280bb 8b5bb5eb9d75 8743857e3ea0 3ca29e55be4b 789e46d79514 66394d5952c2 3530c4415dd8 0fd460f0568e
    271dacc9f4d0 51c6b9f69c48 71741fe2460a c3db8466ffcd
"""
NAMES, HOSTS = set(_NAMES.split()), set(_HOSTS.split())


@cache
def digest(word: str) -> str:
    return hashlib.sha256(word.encode()).hexdigest()[:12]


def test_the_digests_are_of_what_they_say() -> None:
    assert digest("example.org") == hashlib.sha256(b"example.org").hexdigest()[:12]
    assert digest("net" + "gear") in NAMES
    assert digest("crates" + "." + "io") in HOSTS


def test_no_file_names_a_maker_or_a_product() -> None:
    found = []
    for name, text in texts():
        for word in set(re.findall(r"[a-z_]{4,}", re.sub(r"\b[A-Z0-9-]+-MIB\b", "", text).lower())):
            if digest(word) in NAMES:
                found.append(f"{name}: {word}")
    assert found == []


def test_no_file_names_a_package_registry() -> None:
    found = []
    for name, text in texts():
        for host in set(re.findall(r"[a-z0-9-]+(?:\.[a-z0-9-]+)+", text.lower())):
            parts = host.split(".")
            if any(digest(".".join(parts[start:])) in HOSTS for start in range(len(parts) - 1)):
                found.append(f"{name}: {host}")
    assert found == []
