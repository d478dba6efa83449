"""YAML text as a plain tree of dicts, lists and texts, with the line and column of every part.

Built from parser events, one by one, never by recursion, so that no nesting can exhaust the machine. Scalars
stay text (`off`, `012` and `20:00` mean what they look like); the schema types them. Anchors, aliases and tags
are refused.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import Any

import yaml

from portdraw.plan.plan_error import PlanError, Problem

MAX_DEPTH = 40
MAX_TEXT_BYTES = 8_000_000
MAX_VALUES = 1_000_000  # a thousand units of 48 ports, every field declared

Path = tuple[str | int, ...]
Value = str | None | list[Any] | dict[str, Any]

# What YAML 1.1 allows in a text (section 5.1, "c-printable"); a byte order mark is taken off before.
_NOT_PRINTABLE = re.compile("[^\\x09\\x0a\\x0d\\x20-\\x7e\\x85\\xa0-\\ud7ff\\ue000-\\ufffd\\U00010000-\\U0010ffff]")
_SECRETIVE = ("secret", "passw", "passphrase", "community", "token")
_EMPTY = ("", "~", "null", "Null", "NULL")
_LOADER: type[Any] = getattr(yaml, "CSafeLoader", yaml.SafeLoader)


@dataclass
class YamlTree:
    """What a text holds. Lines and columns count from 1; `key_marks` are of keys, `value_marks` of values."""

    value: Value = None
    key_marks: dict[Path, tuple[int, int]] = field(default_factory=dict)
    value_marks: dict[Path, tuple[int, int]] = field(default_factory=dict)
    problems: list[Problem] = field(default_factory=list)

    def mark(self, path: Path, *, of_key: bool = False) -> tuple[int, int]:
        """Return line and column of a part, or of the nearest part around it that the text has."""
        for length in range(len(path), -1, -1):
            part = path[:length]
            if length == len(path) and not of_key and part in self.value_marks:
                return self.value_marks[part]
            found = self.key_marks.get(part) or self.value_marks.get(part)
            if found is not None:
                return found
        return (1, 1)


def is_secret(path: Path) -> bool:
    """Say whether what stands at a path may be a secret: nothing written there is ever repeated.

    The scopes of a token are none.
    """
    return not _are_scopes(path) and any(
        isinstance(part, str) and any(word in part.lower() for word in _SECRETIVE) for part in path
    )


def _are_scopes(path: Path) -> bool:
    return any(path[place : place + 3 : 2] == ("tokens", "scopes") for place in range(len(path)))


def show_path(path: Path) -> str:
    """Return a path as people write it: units.core.supplies[1].from (the first of a list is [1]).

    Below a key that holds a secret nothing is shown.
    """
    shown = ""
    for length, part in enumerate(path):
        if is_secret(path[:length]) and not _are_scopes(path):
            break
        if isinstance(part, int):
            shown += f"[{part + 1}]"
        else:
            shown += ("." if shown else "") + show_text(part, 60)
    return shown


def show_text(text: str, length: int = 40) -> str:
    """Return a text fit for one line of a terminal: cut, and without characters that can't be printed."""
    clean = "".join(character if character.isprintable() else "?" for character in text[: length + 1])
    return clean if len(text) <= length else clean[: length - 3] + "..."


def read_tree(text: str, name: str) -> YamlTree:
    """Read one YAML document. Raises PlanError where the text as a whole can't be understood.

    Problems that leave the rest readable (a key given twice, an anchor) are kept in `problems` of the result.
    """
    if text.startswith("\ufeff"):
        text = text[1:]
    if len(text) > MAX_TEXT_BYTES:
        raise PlanError(name, [Problem(0, 0, "", "is larger than 8 MB, which no site needs; it was not read")])
    bad = _NOT_PRINTABLE.search(text)
    if bad is not None:
        before = text[: bad.start()]
        line, column = before.count("\n") + 1, bad.start() - (before.rfind("\n") + 1) + 1
        what = (
            "a NUL byte" if bad.group() == "\0" else f"a character that can't be printed (U+{ord(bad.group()):04X})"
        )
        raise PlanError(name, [Problem(line, column, "", f"holds {what}; this is not a plain text file")])
    builder = _Builder(name)
    try:
        for event in yaml.parse(text, Loader=_LOADER):
            builder.take(event)
    except yaml.MarkedYAMLError as error:
        raise PlanError(name, [*builder.tree.problems, _syntax_problem(error, text)]) from None
    except yaml.YAMLError:
        raise PlanError(name, [Problem(0, 0, "", "is not YAML that can be understood")]) from None
    if builder.documents == 0:
        raise PlanError(name, [Problem(0, 0, "", "is empty: there is nothing in it to read")])
    return builder.tree


@dataclass
class _Open:
    """A list or a group of keys still being read. `key` is the last key read, waiting for its value."""

    path: Path
    holder: list[Any] | dict[str, Any]
    key: str | None = None
    skipped: bool = False


class _Builder:
    def __init__(self, name: str) -> None:
        self.name = name
        self.tree = YamlTree()
        self.documents = 0
        self.stack: list[_Open] = []
        self.odd_keys = 0

    def take(self, event: yaml.Event) -> None:
        if isinstance(event, yaml.DocumentStartEvent):
            self.documents += 1
            if self.documents > 1:
                self._stop(event, "begins a second document (---); one file holds one document")
        elif isinstance(event, yaml.AliasEvent):
            self._note(event, "uses an alias (*); aliases are not taken, write the values out")
            self._place(event, None)
        elif isinstance(event, yaml.ScalarEvent):
            self._refuse_marks(event)
            plain = event.style in (None, "")
            is_key = bool(self.stack) and isinstance(self.stack[-1].holder, dict) and self.stack[-1].key is None
            empty = plain and event.value in _EMPTY and not is_key
            self._place(event, None if empty else event.value)
        elif isinstance(event, (yaml.MappingStartEvent, yaml.SequenceStartEvent)):
            self._refuse_marks(event)
            if len(self.stack) >= MAX_DEPTH:
                self._stop(event, f"is nested more than {MAX_DEPTH} levels deep")
            holder: list[Any] | dict[str, Any] = {} if isinstance(event, yaml.MappingStartEvent) else []
            path = self._place(event, holder)
            self.stack.append(_Open(path, holder))
        elif isinstance(event, (yaml.MappingEndEvent, yaml.SequenceEndEvent)):
            self.stack.pop()

    def _place(self, event: yaml.Event, value: Value) -> Path:
        """Put a value where it belongs and return its path."""
        if len(self.tree.value_marks) >= MAX_VALUES:
            self._stop(event, f"holds more than {MAX_VALUES} values, which no site needs")
        mark = _mark(event)
        if not self.stack:
            self.tree.value = value
            self.tree.value_marks[()] = mark
            return ()
        top = self.stack[-1]
        if isinstance(top.holder, list):
            path = (*top.path, len(top.holder))
            top.holder.append(value)
            self.tree.value_marks[path] = mark
            return path
        if top.key is None:
            self._take_key(event, value, mark)
            return (*top.path, top.key or "")
        path = (*top.path, f"{top.key} (again)" if top.skipped else top.key)
        if not top.skipped:
            top.holder[top.key] = value
            self.tree.value_marks[path] = mark
        top.key, top.skipped = None, False
        return path

    def _take_key(self, event: yaml.Event, value: Value, mark: tuple[int, int]) -> None:
        top = self.stack[-1]
        assert isinstance(top.holder, dict)
        if not isinstance(value, str):
            self.odd_keys += 1
            top.key, top.skipped = f"?{self.odd_keys}", True
            self._note(event, "has a list or a group of keys where a key must stand")
            return
        path = (*top.path, value)
        top.key, top.skipped = value, value in top.holder
        if top.skipped:
            first = self.tree.key_marks[path][0]
            self._note(event, f"is written twice here; the first is in line {first}", path)
        else:
            self.tree.key_marks[path] = mark

    def _refuse_marks(self, event: Any) -> None:
        if event.anchor is not None:
            self._note(
                event,
                "has an anchor (&); anchors are not taken, write the values out",
            )
        if event.tag is not None:
            self._note(event, "has a tag (!); tags are not taken, remove it")

    def _note(self, event: yaml.Event, sentence: str, path: Path | None = None) -> None:
        if path is None:
            top = self.stack[-1] if self.stack else None
            path = () if top is None else top.path if top.key is None else (*top.path, top.key)
        line, column = _mark(event)
        self.tree.problems.append(Problem(line, column, show_path(path), sentence))

    def _stop(self, event: yaml.Event, sentence: str) -> None:
        raise PlanError(self.name, [Problem(*_mark(event), "", sentence)])


def _mark(event: yaml.Event) -> tuple[int, int]:
    mark = event.start_mark
    return (1, 1) if mark is None else (mark.line + 1, mark.column + 1)


# What the two parsers of PyYAML say, and what we say instead.
_SYNTAX: tuple[tuple[str, str], ...] = (
    ("tab character", "a tab is used where spaces must indent; YAML takes spaces only"),
    (
        "mapping values are not allowed",
        "a colon stands where no key can be: check the indentation, or quote the text",
    ),
    ("unexpected end of stream", "the file ends inside a quoted text: a closing quote is missing"),
    ("unknown escape character", "a backslash in double quotes begins something unknown; use single quotes"),
    ("',' or '}'", "a group in { } is not closed, or lacks a comma"),
    ("',' or ']'", "a list in [ ] is not closed, or lacks a comma"),
    ("could not find expected ':'", "a key lacks its colon"),
    ("while scanning a simple key", "a key lacks its colon"),
    ("<block end>", "the indentation does not fit the lines above"),
    ("expected key", "the indentation does not fit the lines above"),
    ("'-' indicator", "the indentation does not fit the list above"),
    (
        "block sequence entries are not allowed",
        "a list item (-) stands where none can be: check the indentation",
    ),
    ("block collections", "a list or a group begins where none can be: check the indentation"),
    ("cannot start any token", "a character stands here that can't begin a value; quote the text"),
    ("node content", "a value or a closing bracket is missing before this place"),
    ("increasing flow level", f"is nested more than {MAX_DEPTH} levels deep"),
    ("increasing block level", f"is nested more than {MAX_DEPTH} levels deep"),
    ("document end", "something stands here that does not belong to the document above"),
    ("tag handle", "a tag stands here; tags are not taken, remove it"),
    ("directive", "a YAML directive (%) stands here; directives are not needed, remove it"),
    ("document start", "something stands here that does not belong to the document above"),
)


def _syntax_problem(error: yaml.MarkedYAMLError, text: str) -> Problem:
    mark = error.problem_mark or error.context_mark
    said = f"{error.context or ''}: {error.problem or ''}"
    sentence = next((ours for theirs, ours in _SYNTAX if theirs in said), "is not YAML that can be understood here")
    if mark is None:
        return Problem(0, 0, "", sentence)
    lines = text.split("\n")
    line = lines[mark.line] if mark.line < len(lines) else ""
    if line[mark.column : mark.column + 1] == "\t" or line[: mark.column].strip(" ") == "\t":
        sentence = _SYNTAX[0][1]
    return Problem(mark.line + 1, mark.column + 1, "", sentence)
