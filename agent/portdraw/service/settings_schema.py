"""The JSON Schema of the settings file: what its types say, and those rules between keys that a schema can tell."""

from __future__ import annotations

from portdraw.plan.yaml_schema import Schema, equals, given, when, yaml_schema
from portdraw.service.listen_settings import LOOPBACK_NAMES
from portdraw.service.receiver_settings import KEYS_OF, KINDS
from portdraw.service.settings import Settings
from portdraw.service.settings_words import WORDS

SETTINGS_SCHEMA_ID = "urn:portdraw:schema:settings:1"

_TOKENS: Schema = {"required": ["tokens"], "properties": {"tokens": {"minProperties": 1}}}
_VERSION_2: Schema = {"required": ["version"], "properties": {"version": {"enum": [2, "2c", "2C"]}}}
_HTTP = r"^[Hh][Tt][Tt][Pp][Ss]?://[^\s/?#@]+([/?#][!-~]*)?$"
_SYSLOG = r"^([Tt][Cc][Pp]|[Tt][Ll][Ss]|[Uu][Dd][Pp])://[^\s/?#@]+:[0-9]{1,5}/?$"
_OID = r"^\.?[0-2](\.[0-9]{1,10})+$"
_WITH_TLS = r"^([Hh][Tt][Tt][Pp][Ss]|[Tt][Ll][Ss])://"


def _oid(key: str) -> Schema:
    return {"properties": {key: {"anyOf": [{"type": "string", "pattern": _OID}, {"type": "null"}]}}}


def _used(key: str) -> Schema:
    """Return what holds where an algorithm is used; left out means the usual one."""
    return {"properties": {key: {"not": {"const": "none"}}}}


def _address(key: str, pattern: str) -> Schema:
    return {
        "properties": {key: {"anyOf": [{"type": "string", "pattern": pattern, "maxLength": 2000}, {"type": "null"}]}}
    }


# The same rules as the models' own, as far as a schema can tell them.
RULES: dict[str, list[Schema]] = {
    "Secret": [{"oneOf": [given("file"), given("env")]}],
    "Listen": [
        when(
            {"required": ["host"], "properties": {"host": {"not": {"enum": list(LOOPBACK_NAMES)}}}},
            {
                "allOf": [
                    {
                        "anyOf": [
                            _TOKENS,
                            {"required": ["tls"], "properties": {"tls": {"type": "object", **given("client_ca")}}},
                        ]
                    },
                    {"anyOf": [given("tls"), equals("plain_http", "behind-proxy")]},
                ]
            },
        ),
        {"not": {"allOf": [given("tls"), equals("plain_http", "behind-proxy")]}},
    ],
    "AccessSettings": [
        {
            "if": _VERSION_2,
            "then": given("community"),
            "else": {
                "allOf": [
                    given("user"),
                    when(_used("auth"), given("auth_secret")),
                    when(_used("privacy"), given("privacy_secret")),
                    when(equals("auth", "none"), equals("privacy", "none")),
                ]
            },
        }
    ],
    "PrivateColumn": [_oid("oid"), _oid("system_object_id")],
    "Receiver": [
        {"oneOf": [given(kind) for kind in KINDS]},
        *({"not": {"allOf": [given(key), {"not": given(kind)}]}} for key, kind in KEYS_OF.items()),
        when(given("user"), given("password")),
        when(given("password"), given("user")),
        {"not": given("token", "user")},
        _address("webhook", _HTTP),
        _address("alertmanager", _HTTP),
        _address("syslog", _SYSLOG),
        when(
            given("ca"),
            {
                "anyOf": [
                    {"required": [k], "properties": {k: {"type": "string", "pattern": _WITH_TLS}}} for k in KINDS
                ]
            },
        ),
    ],
}


def settings_schema() -> Schema:
    """Return the schema of a settings file."""
    schema = yaml_schema(Settings, SETTINGS_SCHEMA_ID, "portdraw settings", WORDS, RULES)
    # people write 2c too
    schema["$defs"]["AccessSettings"]["properties"]["version"]["enum"] = [2, 3, "2c", "2C"]
    del schema["$defs"]["AccessSettings"]["properties"]["version"]["type"]
    return schema
