"""The JSON Schema (draft 2020-12) of a file that people write in YAML, made from the model that loads it.

An editor sees what YAML makes of a value: `breaker: 7` is a number to it, while the loader keeps the text "7" until
the model types it. The schema therefore takes whatever, written plainly, becomes what the model wants. Where a
value can be written in more than one way it takes the plain one only: a number in quotes is accepted by the loader,
not by the schema.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Mapping, Sequence
from types import UnionType
from typing import Annotated, Any, Union, get_args, get_origin

from pydantic import BaseModel

Schema = dict[str, Any]
DRAFT = "https://json-schema.org/draft/2020-12/schema"
# what pydantic takes for true and false beside YAML's own: https://docs.pydantic.dev, "Conversion table"
_YES_NO = r"^([Yy][Ee][Ss]|[Nn][Oo]|[Oo][Nn]|[Oo][Ff][Ff]|[Tt][Rr][Uu][Ee]|[Ff][Aa][Ll][Ss][Ee]|[YyNnTtFf01])$"


def yaml_schema(
    model: type[BaseModel],
    identity: str,
    title: str,
    words: Mapping[str, str],
    rules: Mapping[str, Sequence[Schema]],
) -> Schema:
    """Return the schema of `model`. `words` describes "Model.key"; `rules` adds to a model what no type says.

    A key of a base class is described under the base's name. KeyError for a key that nothing describes.
    """
    made = model.model_json_schema(by_alias=True)
    groups = {found.__name__: found for found in models_of(model)}
    parts: dict[str, Schema] = {**made.pop("$defs", {}), model.__name__: made}
    for name, part in parts.items():
        for key, value in part.get("properties", {}).items():
            value["description"] = _words_for(groups[name], key, words)
        if rules.get(name):
            part["allOf"] = list(rules[name])
    top: Schema = _as_written(parts.pop(model.__name__))
    top.pop("description", None)
    head = {"$schema": DRAFT, "$id": identity, "title": title}
    return {**head, **top, "$defs": {name: _as_written(part) for name, part in sorted(parts.items())}}


def models_of(kind: Any) -> Iterator[type[BaseModel]]:
    """Yield each model that a type is made of, itself first; one that is used twice comes twice."""
    if isinstance(kind, type) and issubclass(kind, BaseModel):
        yield kind
        for field in kind.model_fields.values():
            yield from models_of(field.annotation)
    elif get_origin(kind) in (dict, tuple, list, Union, UnionType, Annotated):
        for part in get_args(kind):
            yield from models_of(part)


def schema_text(schema: Schema) -> str:
    """Return a schema as it is published."""
    return json.dumps(schema, indent=2, ensure_ascii=False) + "\n"


def given(*keys: str) -> Schema:
    """Return what holds where all these keys are there with a value."""
    return {"required": list(keys), "properties": {key: {"not": {"type": "null"}} for key in keys}}


def equals(key: str, value: object) -> Schema:
    """Return what holds where a key is there with this value."""
    return {"required": [key], "properties": {key: {"const": value}}}


def is_true(key: str) -> Schema:
    """Return what holds where a key is there and says yes, in any way of writing it."""
    text = {"type": "string", "pattern": r"^([Yy][Ee][Ss]|[Oo][Nn]|[Tt][Rr][Uu][Ee]|[YyTt1])$"}
    return {"required": [key], "properties": {key: {"anyOf": [{"const": True}, {"const": 1}, text]}}}


def when(condition: Schema, then: Schema) -> Schema:
    """Return a rule: where `condition` holds, `then` must hold."""
    return {"if": condition, "then": then}


def _words_for(group: type[BaseModel], key: str, words: Mapping[str, str]) -> str:
    for one in group.__mro__:
        if f"{one.__name__}.{key}" in words:
            return words[f"{one.__name__}.{key}"]
    for name, field in group.model_fields.items():
        if (field.alias or name) == key and field.description:
            return field.description
    raise KeyError(f"{group.__name__}.{key} has no description")


def _as_written(value: Any) -> Any:
    """Return a schema as YAML is written: texts may look like numbers, groups take the named keys only."""
    if isinstance(value, list):
        return [_as_written(one) for one in value]
    if not isinstance(value, dict):
        return value
    found = {
        key: {name: _as_written(one) for name, one in part.items()}
        if key in ("properties", "patternProperties")
        else part
        if key in ("default", "enum", "const", "allOf", "required")
        else _as_written(part)
        for key, part in value.items()
        if key != "title"
    }
    kind = found.get("type")
    if kind == "boolean":
        del found["type"]
        found["anyOf"] = [{"type": "boolean"}, {"type": "string", "pattern": _YES_NO}, {"enum": [0, 1]}]
    elif kind == "string" and "enum" not in found and "const" not in found:
        _let_look_otherwise(found)
    elif kind == "object" and "patternProperties" in found:
        found["additionalProperties"] = False
    return found


def _let_look_otherwise(found: Schema) -> None:
    """Let a text be what YAML takes for a number or for true, where such a text fits."""
    pattern = re.compile(found.get("pattern", ""))
    if found.get("minLength", 0) > 1:
        return
    kinds = ["string"]
    if pattern.search("7") and pattern.search("7.5"):
        kinds.append("number")
        if not pattern.search("-7"):
            found["minimum"] = 0
    if pattern.search("true") and pattern.search("False"):
        kinds.append("boolean")
    if len(kinds) > 1:
        found["type"] = kinds
