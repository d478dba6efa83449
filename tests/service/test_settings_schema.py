"""The published JSON Schema of the settings says what the loader says, as far as a schema can."""

from __future__ import annotations

from pathlib import Path

import pytest
from jsonschema import Draft202012Validator
from tests.plan.mutation import as_an_editor, disagreements, written
from tests.tools.schemas import SETTINGS_SCHEMA, published

from portdraw.plan.yaml_schema import models_of
from portdraw.plan.yaml_text import load_typed
from portdraw.service.settings import Settings
from portdraw.service.settings_schema import settings_schema
from portdraw.service.settings_words import WORDS

SAMPLE = Path(__file__).resolve().parents[2] / "deploy" / "settings.example.yaml"
# every way to be told, beside what the sample shows
MORE = """\
receivers:
  desk: {webhook: "http://127.0.0.1:8438/alarms", secret: {file: hook}}
  far: {webhook: "https://desk.example/alarms", ca: ca.pem}
  log: {syslog: "tls://127.0.0.1:6514", facility: local3, ca: ca.pem}
  plain-log: {syslog: "udp://127.0.0.1:514"}
  am: {alertmanager: "http://127.0.0.1:9093", token: {env: AM_TOKEN}}
  am2: {alertmanager: "https://am.example/base", user: watch, password: {file: am}}
access:
  terminal-v3: {version: 3, user: watch, auth: sha256, auth_secret: {file: auth}, privacy: none}
  old: {version: 2c, community: {env: OLD}}
listen:
  host: 10.20.0.2
  tls: {certificate: cert.pem, key: key.pem, client_ca: clients.pem}
  tokens: {shift: {secret: {file: token}, scopes: [read, operate]}}
  names: [watch.example]
notifications: {host: "::1", port: 10162, access: [terminal-v3, old]}
columns:
  - {name: rack-watts, oid: 1.3.6.1.4.1.32473.1.1, index: port, unit: mW, source: "EXAMPLE-MIB, exWatts"}
"""

# What the loader alone can refuse, each with the reason why no schema can.
LOADER_ALONE: tuple[str, ...] = (
    r"A receiver's address can't be understood",  # the finer points of an address: a port above 65535, a bad host
    r"is not an object identifier",  # an arc beyond its largest number
    r"(listen|notifications).host: must be an address of this machine",
)


def load(text: str) -> Settings:
    return load_typed(text, "settings.yaml", Settings)


def test_the_published_file_is_what_the_model_says() -> None:
    """Mend with `python -m tests.tools.schemas`."""
    assert SETTINGS_SCHEMA.read_text(encoding="utf-8") == published()[SETTINGS_SCHEMA]


def test_it_is_a_schema_of_its_draft() -> None:
    Draft202012Validator.check_schema(settings_schema())


def test_the_sample_is_valid() -> None:
    text = SAMPLE.read_text(encoding="utf-8")
    load(text)
    assert [error.message for error in Draft202012Validator(settings_schema()).iter_errors(as_an_editor(text))] == []


def test_every_key_is_described_and_no_description_is_left_over() -> None:
    keys = {
        f"{group.__name__}.{field.alias or name}"
        for group in models_of(Settings)
        for name, field in group.model_fields.items()
    }
    assert set(WORDS) <= keys
    for name, group in settings_schema()["$defs"].items():
        for key, value in group.get("properties", {}).items():
            assert len(value["description"]) > 5, f"{name}.{key}"


@pytest.mark.parametrize("seed", [1, 2])
def test_hundreds_of_changed_settings_get_the_same_verdict(seed: int) -> None:
    tree = as_an_editor(SAMPLE.read_text(encoding="utf-8")) | as_an_editor(MORE)
    load(written(tree))
    differ, verdicts = disagreements(tree, 1000, seed, settings_schema(), load, LOADER_ALONE)
    assert differ == []
    assert min(verdicts["both take"], verdicts["both refuse"]) > 30, verdicts
