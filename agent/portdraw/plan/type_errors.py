"""What pydantic found wrong, in our own plain sentences, at the line and column where it stands."""

from __future__ import annotations

import re
from collections.abc import Iterator
from difflib import get_close_matches
from types import UnionType
from typing import Annotated, Any, Union, get_args, get_origin

from pydantic import BaseModel, ValidationError

from portdraw.plan.patterns import IN_WORDS
from portdraw.plan.plan_error import Problem
from portdraw.plan.yaml_tree import Path, YamlTree, is_secret, show_path, show_text

_NUMBER = re.compile(r"-?[0-9.]{1,40}")
_EMPTY = "is empty: write a value, or leave the key out"
_WANTS_GROUP = ("model_type", "model_attributes_type", "dict_type", "mapping_type")
_WANTS_LIST = ("tuple_type", "list_type", "set_type", "frozen_set_type")
_LIMITS = {
    "greater_than": "more than {gt}",
    "greater_than_equal": "{ge} or more",
    "less_than": "less than {lt}",
    "less_than_equal": "{le} or less",
}
_REQUIREMENTS = {
    "int_parsing": "a whole number",
    "int_parsing_size": "a whole number",
    "int_type": "a whole number",
    "int_from_float": "a whole number",
    "float_parsing": "a number",
    "float_type": "a number",
    "finite_number": "a finite number",
    "bool_parsing": "true or false",
    "bool_type": "true or false",
    "string_type": "a text",
} | dict.fromkeys(_WANTS_GROUP, "a group of keys and values")
_REQUIREMENTS |= dict.fromkeys(_WANTS_LIST, "a list, such as [a, b]")


def type_problems(error: ValidationError, tree: YamlTree, model: type[BaseModel]) -> list[Problem]:
    """Return one problem for each place that pydantic objects to, in plain words."""
    places: dict[tuple[Path, bool], list[dict[str, Any]]] = {}
    for detail in error.errors(include_url=False):
        found = dict(detail)
        path, of_key = place_of(found, tree)
        places.setdefault((path, of_key), []).append(found)
    above = {path[:length] for path, _ in places for length in range(len(path))}
    problems: set[Problem] = set()
    for (path, of_key), details in places.items():
        value = _at(tree, path)
        fitting = _fitting(details, value)
        if isinstance(value, (dict, list)) and path in above and all(_is_about_scalars(one) for one in fitting):
            continue  # another form was meant, and what is wrong in it is told where it stands
        line, column = tree.mark(path, of_key=of_key)
        for sentence in _sentences(fitting, path, value, model, secret=is_secret(path)):
            problems.add(Problem(line, column, show_path(path), sentence))
    return sorted(problems)


def place_of(detail: dict[str, Any], tree: YamlTree) -> tuple[Path, bool]:
    """Return the path in the text that an error is about, and whether the key itself is meant."""
    location: tuple[str | int, ...] = detail["loc"]
    if detail["type"] == "missing":
        location = location[:-1]
    of_key = detail["type"] == "extra_forbidden" or (bool(location) and location[-1] == "[key]")
    value: Any = tree.value
    path: list[str | int] = []
    for part in location:
        inside = (isinstance(value, dict) and part in value) or (
            isinstance(value, list) and isinstance(part, int) and part < len(value)
        )
        if inside:
            path.append(part)
            value = value[part]
    return tuple(path), of_key


def _at(tree: YamlTree, path: Path) -> Any:
    value: Any = tree.value
    for part in path:
        value = value[part]
    return value


def _is_about_scalars(detail: dict[str, Any]) -> bool:
    kind = detail["type"]
    return kind == "literal_error" or (kind in _REQUIREMENTS and kind not in (*_WANTS_GROUP, *_WANTS_LIST))


def _fitting(details: list[dict[str, Any]], value: Any) -> list[dict[str, Any]]:
    """Keep the errors of that form of a value (number, list, group) that was most likely meant."""
    if len(details) < 2:
        return details
    if isinstance(value, (dict, list)):
        kept = [one for one in details if not _is_about_scalars(one)]
    else:
        kept = [one for one in details if one["type"] not in (*_WANTS_GROUP, *_WANTS_LIST)]
    return kept or details


def _sentences(
    details: list[dict[str, Any]], path: Path, value: Any, model: type[BaseModel], *, secret: bool
) -> Iterator[str]:
    requirements: dict[str, None] = {}
    for detail in details:
        kind = detail["type"]
        context: dict[str, Any] = detail.get("ctx", {})
        if kind == "missing":
            yield _missing(detail["loc"][-1])
        elif kind == "extra_forbidden":
            yield _unknown_key(path, value, model, secret=secret)
        elif value is None and detail["loc"][-1:] != ("[key]",):
            yield _EMPTY
        elif kind in ("value_error", "assertion_error"):
            yield str(context.get("error", "is not a value that fits here"))
        elif kind == "string_too_short":
            yield _EMPTY
        elif kind == "string_too_long":
            yield f"is longer than {context['max_length']} characters"
        elif kind == "too_short":
            yield f"needs {context['min_length']} or more entries, has {context['actual_length']}"
        elif kind == "too_long":
            yield f"takes {context['max_length']} entries at most"
        elif kind == "string_pattern_mismatch":
            requirements.setdefault(IN_WORDS.get(context["pattern"], "written as this field asks"))
        elif kind == "literal_error":
            requirements.setdefault(_choice(context["expected"]))
        elif kind in _LIMITS:
            limits = {name: f"{limit:g}" for name, limit in context.items() if isinstance(limit, (int, float))}
            requirements.setdefault(_LIMITS[kind].format(**limits))
        else:
            requirements.setdefault(_REQUIREMENTS.get(kind, "a value that fits here"))
    if requirements:
        wanted = ", or ".join(requirements)
        of_key = details[0]["loc"][-1:] == ("[key]",)
        yield f"must be {wanted}" + ("" if of_key else _is_now(value, wanted, secret=secret))


def _missing(key: str | int) -> str:
    if isinstance(key, int):
        return f"is too short: entry {key + 1} is missing"
    return f"needs the key '{key}'"


def _is_now(value: Any, wanted: str, *, secret: bool) -> str:
    if not isinstance(value, str) or secret:
        return ""
    hint = ""
    if "number" in wanted and value.count(",") == 1 and value.replace(",", "").strip().isdecimal():
        hint = f"; write {value.replace(',', '.').strip()} with a point"
    near = get_close_matches(value, wanted.replace(" or ", ", ").split(", "), 1, 0.75)
    if near:
        hint = f"; did you mean '{near[0]}'?"
    shown = show_text(value)
    return f", is {shown}{hint}" if _NUMBER.fullmatch(value) else f", is '{shown}'{hint}"


def _choice(expected: str) -> str:
    """Return pydantic's "'a', 'b' or 'c'" without its quotes."""
    return expected.replace("'", "")


def _unknown_key(path: Path, value: Any, model: type[BaseModel], *, secret: bool) -> str:
    if secret:
        return "holds a key that does not belong here"
    if value is None and isinstance(path[-1], str) and path[-1].strip().isdecimal():
        # {rating_w: 600,5} is the keys rating_w and 5 to YAML
        return f"is not a key that belongs here; is the comma before {show_text(path[-1])} meant as a decimal point?"
    known = sorted(_keys_at(model, path[:-1]))
    near = get_close_matches(str(path[-1]), known, 1, 0.6)
    if near:
        return f"is not a key that belongs here; did you mean '{near[0]}'?"
    if known and len(known) <= 8:
        return "is not a key that belongs here; the keys are " + ", ".join(known)
    return "is not a key that belongs here"


def _keys_at(model: type[BaseModel], path: Path) -> set[str]:
    """Return the keys that a model takes at a path."""
    kinds: list[Any] = [model]
    for part in path:
        kinds = [below for kind in kinds for below in _below(kind, part)]
    return {
        field.alias or name for kind in kinds for plain in _models(kind) for name, field in plain.model_fields.items()
    }


def _below(kind: Any, part: str | int) -> Iterator[Any]:
    for plain in _plain_kinds(kind):
        if isinstance(plain, type) and issubclass(plain, BaseModel):
            for name, field in plain.model_fields.items():
                if part == (field.alias or name):
                    yield field.annotation
        elif get_origin(plain) is dict:
            yield get_args(plain)[1]
        elif get_origin(plain) in (list, tuple):
            yield get_args(plain)[0]


def _models(kind: Any) -> Iterator[type[BaseModel]]:
    for plain in _plain_kinds(kind):
        if isinstance(plain, type) and issubclass(plain, BaseModel):
            yield plain


def _plain_kinds(kind: Any) -> Iterator[Any]:
    """Take a type apart into the plain ones: without Annotated, each member of a union."""
    origin = get_origin(kind)
    if origin is Annotated:
        yield from _plain_kinds(get_args(kind)[0])
    elif origin in (Union, UnionType):
        for member in get_args(kind):
            yield from _plain_kinds(member)
    else:
        yield kind
