"""The JSON Schema of the site file: what its types say, and those rules between keys that a schema can tell."""

from __future__ import annotations

from portdraw.plan.site import Site
from portdraw.plan.site_words import WORDS
from portdraw.plan.yaml_schema import Schema, equals, given, is_true, when, yaml_schema

SITE_SCHEMA_ID = "urn:portdraw:schema:site:1"

# classes 5 to 8 and dual signature need all four pairs (IEEE 802.3-2022, clause 145)
_FOUR_PAIRS: Schema = {"anyOf": [{"type": "integer", "minimum": 5}, {"type": "array"}]}
_HANGS: Schema = {"anyOf": [given("device"), given("feeds")]}

# The same rules as in `names`, as far as one group of keys shows them. What needs another part of the file (that a
# name is declared, and once; that a port number is one of the unit's) is checked by the loader alone.
RULES: dict[str, list[Schema]] = {
    "Unit": [
        when({"required": ["access"], "properties": {"access": {"not": {"const": "none"}}}}, given("address")),
        when(is_true("extender"), {"properties": {"supplies": {"maxItems": 0}}}),
        when({"required": ["ports"], "properties": {"ports": {"minProperties": 1}}}, given("pse")),
    ],
    "Port": [
        {"not": given("device", "feeds")},
        when(given("device"), {"anyOf": [given("type"), given("class")]}),
        when(given("feeds"), {**given("class"), "not": given("type")}),
        when({"anyOf": [given("type"), given("class")]}, _HANGS),
        {
            "not": {
                "required": ["class", "cable"],
                "properties": {"class": _FOUR_PAIRS, "cable": {"type": "object", **equals("pairs", 2)}},
            }
        },
    ],
}


def site_schema() -> Schema:
    """Return the schema of a site file."""
    return yaml_schema(Site, SITE_SCHEMA_ID, "portdraw site file", WORDS, RULES)
