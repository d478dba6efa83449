"""Files as people write them, read as an editor reads them and changed at random, for a schema beside its loader."""

from __future__ import annotations

import copy
import json
import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from random import Random
from typing import Any

import yaml
from jsonschema import Draft202012Validator

from portdraw.plan.plan_error import PlanError

Path = tuple[str | int, ...]


class _CoreLoader(yaml.CBaseLoader):
    """YAML 1.2.2 core schema (section 10.3.2, "Tag Resolution"); keys stay text, as they are in JSON.

    JSON has no figure for infinity and not-a-number (RFC 8259, section 6), so those stay text.
    """


def _scalar(loader: yaml.BaseLoader, node: yaml.ScalarNode) -> object:
    text: str = node.value
    if node.style:
        return text
    if re.fullmatch(r"null|Null|NULL|~|", text):
        return None
    if re.fullmatch(r"true|True|TRUE|false|False|FALSE", text):
        return text.lower() == "true"
    if re.fullmatch(r"[-+]?[0-9]+", text):
        return int(text)
    if re.fullmatch(r"[-+]?(\.[0-9]+|[0-9]+(\.[0-9]*)?)([eE][-+]?[0-9]+)?", text):
        return float(text)
    return text


def _mapping(loader: yaml.BaseLoader, node: yaml.MappingNode) -> Iterator[dict[str, object]]:
    found: dict[str, object] = {}
    yield found
    for key, value in node.value:
        found[key.value] = loader.construct_object(value, deep=True)


_CoreLoader.add_constructor("tag:yaml.org,2002:str", _scalar)
_CoreLoader.add_constructor("tag:yaml.org,2002:map", _mapping)


def as_an_editor(text: str) -> Any:
    """Return what an editor makes of a file."""
    return yaml.load(text, Loader=_CoreLoader)


@dataclass(frozen=True)
class Raw:
    """A value that is written without quotes and is neither number nor word of JSON."""

    text: str


def written(value: Any) -> str:
    """Return a tree as YAML; JSON is YAML."""
    if isinstance(value, Raw):
        return value.text
    if isinstance(value, dict):
        return "{" + ", ".join(f"{json.dumps(key)}: {written(one)}" for key, one in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(written(one) for one in value) + "]"
    return json.dumps(value)


ODD: Sequence[Any] = (
    "abc", "", " ", "7", "-x", "a/b", "20:00", "24:00", "n+1", "ALL", "none", "x" * 81, "x" * 400, "bell \a", "a\nb",
    -1, 0, 1, 2, 3, 5, 9, 37, 100, 1000, 1.5, -0.5, 12_345_678, True, False, None, [], [1], [3, 3], [6, 6],
    [1, 2, 3], ["abc"], {}, {"a": 1}, {"file": "x"}, {"file": "x", "env": "Y"}, "http://h:1/x", "tls://h:6514", "2c",
    Raw(".nan"), Raw(".inf"), Raw("-.inf"), Raw("nan"), Raw("yes"), Raw("off"), Raw("12x"),
)  # fmt: skip
ODD_KEYS = ("colour", "Units", "", "-x", "a/b", "7", "012", "2/14", "2/14/1/1", "name with blanks", "ö", "x" * 90)


def places(value: Any, path: Path = ()) -> Iterator[Path]:
    """Yield the path of every part, the whole first."""
    yield path
    parts: Iterator[tuple[Any, Any]] = iter(())
    if isinstance(value, dict):
        parts = iter(value.items())
    elif isinstance(value, list):
        parts = iter(enumerate(value))
    for key, one in parts:
        yield from places(one, (*path, key))


def at(value: Any, path: Path) -> Any:
    """Return the part at a path."""
    for key in path:
        value = value[key]
    return value


def mutant(tree: Any, random: Random) -> tuple[str, Path, Any]:
    """Return what was changed, in words, where, and a changed copy. Each kind of place is as likely as any other."""
    found = copy.deepcopy(tree)
    paths = [path for path in places(found) if path]
    shapes: dict[Path, list[Path]] = {}
    for path in paths:
        # the hundred ports of a site count as one place, lest nothing else is ever changed
        shape = tuple(
            key if isinstance(key, str) and not _is_name(path, at_) else "*" for at_, key in enumerate(path)
        )
        shapes.setdefault(shape, []).append(path)
    path = random.choice(shapes[random.choice(sorted(shapes, key=str))])
    parent, key = at(found, path[:-1]), path[-1]
    what = random.choice(("drop", "replace", "replace", "add", "rename", "negate", "enlarge", "move", "wrap"))
    value = parent[key]
    number = isinstance(value, int | float) and not isinstance(value, bool)
    if what == "drop":
        del parent[key]
    elif what == "add" and isinstance(value, dict):
        value[random.choice(ODD_KEYS)] = copy.deepcopy(random.choice((*ODD, *value.values())))
    elif what == "rename" and isinstance(parent, dict):
        parent[random.choice((*ODD_KEYS, f"{key}s"))] = parent.pop(str(key))
    elif what == "negate" and number:
        parent[key] = -value
    elif what == "enlarge" and number:
        parent[key] = value * 1000
    elif what == "move":
        parent[key] = copy.deepcopy(at(tree, random.choice(paths)))
    elif what == "wrap":
        parent[key] = [value]
    else:
        what = "replace"
        parent[key] = copy.deepcopy(random.choice(ODD))
    return f"{what} at {'.'.join(map(str, path))}", path, found


def other_way(tree: Any, path: Path) -> Any:
    """Return a copy in which the figures at a path are written with quotes, or without, the other way about."""
    found = copy.deepcopy(tree)
    try:
        for below in list(places(at(found, path), path)):
            value = at(found, below)
            if isinstance(value, str) and re.fullmatch(r"-?[0-9]+(\.[0-9]+)?", value):
                at(found, below[:-1])[below[-1]] = float(value) if "." in value else int(value)
            elif isinstance(value, int | float) and not isinstance(value, bool):
                at(found, below[:-1])[below[-1]] = str(value)
    except (KeyError, IndexError, TypeError):
        return tree  # what was changed is not there any more
    return found


_NAMED = (
    "incomers",
    "generators",
    "panels",
    "circuits",
    "ups",
    "device_types",
    "units",
    "ports",
    "access",
    "receivers",
)


def _is_name(path: Path, place: int) -> bool:
    return place > 0 and path[place - 1] in _NAMED


def disagreements(
    tree: Any, count: int, seed: int, schema: dict[str, Any], load: Callable[[str], object], known: Sequence[str]
) -> tuple[list[str], dict[str, int]]:
    """Hold schema and loader to `count` mutants; return where they differ, and how the verdicts fell.

    A mutant that the loader alone refuses counts as explained where each of its sentences fits one of `known`; one
    that the schema alone refuses, where it takes the same figure without quotes, or with them.
    """
    validator = Draft202012Validator(schema)
    random = Random(seed)
    differ: list[str] = []
    verdicts = {"both take": 0, "both refuse": 0, "the loader alone refuses": 0}
    for _ in range(count):
        what, path, changed = mutant(tree, random)
        text = written(changed)
        taken = validator.is_valid(as_an_editor(text))
        try:
            load(text)
            problems: list[str] = []
        except PlanError as error:
            problems = [f"{one.path}: {one.sentence}" for one in error.problems]
        if taken and not problems:
            verdicts["both take"] += 1
        elif not taken and problems:
            verdicts["both refuse"] += 1
        elif taken and all(any(re.search(words, problem) for words in known) for problem in problems):
            verdicts["the loader alone refuses"] += 1
        elif taken:
            differ.append(f"{what}: the schema takes it, the loader says {problems}")
        elif not validator.is_valid(as_an_editor(written(other_way(changed, path)))):
            why = next(iter(validator.iter_errors(as_an_editor(text)))).message[:200]
            differ.append(f"{what}: the loader takes it, the schema says {why}")
    return differ, verdicts
