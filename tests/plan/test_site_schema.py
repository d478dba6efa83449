"""The published JSON Schema of the site file says what the loader says, as far as a schema can."""

from __future__ import annotations

import json
from typing import Any

import pytest
from jsonschema import Draft202012Validator
from tests.plan.mutation import as_an_editor, disagreements, written
from tests.rehearsal.terminal import SITE_FILE
from tests.tools.schemas import SITE_SCHEMA, published

from portdraw.plan.loader import parse_site
from portdraw.plan.plan_error import PlanError
from portdraw.plan.site import Site
from portdraw.plan.site_schema import site_schema
from portdraw.plan.site_words import WORDS
from portdraw.plan.yaml_schema import models_of

# What the loader alone can refuse, each with the reason why no schema can. Sentences of `plan.names`.
LOADER_ALONE = (
    r"^[^:]*: no [a-zA-Z ]+ is named '",  # a name that is declared elsewhere in the file, or not at all
    r": '?[^:]*'? ?is already the name of ",  # names are unique over all groups of a site
    r": is already the name of ",
    r"is not one of the unit's \d+ ports",  # a key held against a value of another group
    r"lists \d+ ports, but pse.ports says ",
    r"has the same MIB index",  # two keys and their values held against each other
    r"is already fed by ",
    r"leads back to this panel",  # a ring
    r"names the unit itself",
    r"is not a time zone that this machine knows",  # what the machine knows
    r"is the same time as 'from'",  # two values held against each other
    r"is 2, but (class \d|a dual-signature device) needs all 4 pairs",  # where the class is that of a type
)


@pytest.fixture(scope="module")
def validator() -> Draft202012Validator:
    return Draft202012Validator(json.loads(SITE_SCHEMA.read_text(encoding="utf-8")))


def test_the_published_file_is_what_the_model_says() -> None:
    """Mend with `python -m tests.tools.schemas`."""
    assert SITE_SCHEMA.read_text(encoding="utf-8") == published()[SITE_SCHEMA]


def test_it_is_a_schema_of_its_draft() -> None:
    Draft202012Validator.check_schema(site_schema())


def test_the_ferry_terminal_is_valid(validator: Draft202012Validator) -> None:
    errors = [error.message for error in validator.iter_errors(as_an_editor(SITE_FILE.read_text(encoding="utf-8")))]
    assert errors == []


def test_every_key_is_described_and_no_description_is_left_over() -> None:
    keys = {
        f"{one.__name__}.{field.alias or name}"
        for group in models_of(Site)
        for one in group.__mro__
        for name, field in getattr(one, "model_fields", {}).items()
    }
    assert set(WORDS) <= keys
    for name, group in site_schema()["$defs"].items():
        for key, value in group.get("properties", {}).items():
            assert len(value["description"]) > 5, f"{name}.{key}"


def _shortened(tree: Any) -> Any:
    """Return the ferry terminal with two devices a unit: every key is still there, and a mutant is judged sooner."""
    for unit in tree["units"].values():
        devices = [key for key, port in unit.get("ports", {}).items() if "device" in port]
        for key in devices[2:]:
            del unit["ports"][key]
    return tree


def test_hundreds_of_changed_sites_get_the_same_verdict() -> None:
    tree = as_an_editor(SITE_FILE.read_text(encoding="utf-8"))
    assert parse_site(written(tree)) == parse_site(SITE_FILE.read_text(encoding="utf-8"))
    differ, verdicts = disagreements(_shortened(tree), 500, 20260302, site_schema(), parse_site, LOADER_ALONE)
    assert differ == []
    assert min(verdicts.values()) > 5, verdicts  # each kind of verdict was really tried


# as people write them: plain text that YAML takes for something else, and forms that must be refused
WAYS = [
    ('breaker: "1"', "breaker: 1", True),
    ('breaker: "1"', "breaker: 012", True),
    ('breaker: "1"', "breaker: true", True),
    ("class: 3", "class: [3, 3]", True),
    ("class: 3", "class: [3]", False),
    ("class: 3", "class: [6, 3]", False),
    ("class: 3", "class: 9", False),
    ("class: 3", "class: three", False),
    ("class: 3", "class: null", False),
    ('from: "20:00"', "from: 20:00", True),
    ('from: "20:00"', 'from: "8 pm"', False),
    ("      2: {device", "      0x2: {device", False),
    ("      2: {device", '      "2": {device', True),
    ("      2: {device", "      1/0/2: {device", True),
    ("      2: {device", "      02: {device", False),
    ("{device: cam-2, type: camera", "{device: cam-2", False),
    ("{device: cam-2, type: camera", "{device: cam-2, feeds: north-pier, class: 4", False),
    ("{device: cam-2, type: camera", "{type: camera", False),
    ("{device: cam-2, type: camera", "{off: yes, device: cam-2, type: camera", True),
    ("{device: cam-2, type: camera", "{off: maybe, device: cam-2, type: camera", False),
    ("{device: cam-2, type: camera", "{snmp: '1.7', device: cam-2, type: camera", True),
    ("{device: cam-2, type: camera", "{cable: {length_m: 9, pairs: 2}, class: 6, device: cam-2", False),
    ("{device: cam-2, type: camera", "{cable: {length_m: 9, pairs: 3}, class: 3, device: cam-2", False),
    ("{device: cam-2, type: camera", "{cable: {length_m: -9}, class: 3, device: cam-2", False),
    ("rating_a: 16", "rating_a: .nan", False),
    ("rating_a: 16", "rating_a: .inf", False),
    ("rating_a: 16", "rating_a: 0", False),
    ("rating_a: 16", "rating_a: 1.6e1", True),
    ("rating_a: 16", "rating_a: 16 A", False),
    ("format: 1", "format: 2", False),
    ("format: 1", "format: one", False),
    ("access: none", "access: v3", False),
    ("access: none", "access: v3\n    address: 10.20.0.2", True),
    ("access: none", "address: 127.0.0.1:99999", False),
    ("access: none", "address: 10.20.0.2:0", False),
    ("access: none", "address: 10.20.0.2:65535", True),
    ("access: none", "address: '[fe80::1%eth0]:161'", True),
    ("access: none", "address: fe80::1", True),
    ("access: none", "extender: yes", False),
]
SITE = """\
format: 1
site: {name: Skarholm quay, night: {from: "20:00", to: "06:30"}}
incomers: {town-supply: {rating_a: 63}}
panels: {P1: {fed_from: town-supply}}
circuits: {quay-1: {panel: P1, breaker: "1", rating_a: 16}}
device_types: {camera: {class: 3, typical_w: 6}}
units:
  core:
    access: none
    supplies: [{from: quay-1}]
    pse: {budget_w: 120, ports: 8}
    ports:
      2: {device: cam-2, type: camera}
"""


@pytest.mark.parametrize(("old", "new", "good"), WAYS)
def test_as_people_write_it(validator: Draft202012Validator, old: str, new: str, good: bool) -> None:
    assert SITE.count(old) == 1
    text = SITE.replace(old, new)
    try:
        parse_site(text)
        taken = True
    except PlanError:
        taken = False
    assert (validator.is_valid(as_an_editor(text)), taken) == (good, good)


def test_the_one_place_where_the_schema_asks_for_more(validator: Draft202012Validator) -> None:
    """A number in quotes, and an index without: the loader takes both, the schema asks for the plain form."""
    for old, new in (("rating_a: 16", 'rating_a: "16"'), ("{device: cam-2", "{snmp: 1.7, device: cam-2")):
        text = SITE.replace(old, new)
        parse_site(text)
        assert not validator.is_valid(as_an_editor(text))
