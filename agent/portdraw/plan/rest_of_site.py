"""Names that are wrong in a site file whose types are wrong elsewhere: both are told in one go.

What can't be typed is left out, with all that needs it; what is left is checked. A name that may be missing only
because something was left out is not told.
"""

from __future__ import annotations

from copy import deepcopy
from typing import Any

from pydantic import ValidationError

from portdraw.plan.names import Misnamed, check_names
from portdraw.plan.site import Site
from portdraw.plan.type_errors import place_of
from portdraw.plan.yaml_tree import Path, YamlTree

_MOST_ROUNDS = 8  # a key, the group that needs it, the group above: no group is deeper


def names_in_the_rest(tree: YamlTree) -> list[Misnamed]:
    """Return what is misnamed in the parts of a site file that can be typed; nothing where too little is left."""
    value: Any = deepcopy(tree.value)
    left_out: set[Path] = set()
    for _ in range(_MOST_ROUNDS):
        try:
            site = Site.model_validate(value)
        except ValidationError as error:
            places = {_without_lists(place_of(dict(one), tree)[0]) for one in error.errors(include_url=False)}
            if () in places:
                return []
            for path in places:
                _leave_out(value, path)
            left_out |= places
            continue
        gone: set[str | int] = {word for path in left_out for word in (*path, *_words_in(_at(tree.value, path)))}
        parts = {part for path in left_out for part in (path[:2], _part(path))}
        whole = {path[:2] for path in left_out if _part(path) == path[:2]}
        return [one for one in check_names(site) if one.used not in gone and not _may_follow(one.path, parts, whole)]
    return []


def _may_follow(path: Path, parts: set[Path], whole: set[Path]) -> bool:
    """Say whether this may be wrong only because of what was left out: of the same port, or of the same part."""
    part = _part(path)
    return part in parts or path[:2] in whole


def _part(path: Path) -> Path:
    """Return what a place belongs to: a port, or else the unit, circuit or device type."""
    return path[:4] if len(path) > 3 and path[2] == "ports" else path[:2]


def _without_lists(path: Path) -> Path:
    """Return the path up to the first list: an entry can't be taken out without moving the others."""
    first = next((at for at, part in enumerate(path) if isinstance(part, int)), len(path))
    return path[:first]


def _leave_out(value: Any, path: Path) -> None:
    for part in path[:-1]:
        value = value.get(part) if isinstance(value, dict) else None
    if isinstance(value, dict):
        value.pop(path[-1], None)


def _at(value: Any, path: Path) -> Any:
    for part in path:
        value = value.get(part) if isinstance(value, dict) else None
    return value


def _words_in(value: Any) -> set[str]:
    """Return every key and text in a part of a file."""
    found: set[str] = set()
    waiting = [value]
    while waiting:
        one = waiting.pop()
        if isinstance(one, dict):
            found |= set(one)
            waiting += one.values()
        elif isinstance(one, list):
            waiting += one
        elif isinstance(one, str):
            found.add(one)
    return found
