"""A YAML text that people wrote, typed by a pydantic model; every error has line, column and a sentence.

Used for the site file, for the agent's settings and for the MIB data.
"""

from __future__ import annotations

import stat
from pathlib import Path
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError

from portdraw.plan.plan_error import PlanError, Problem
from portdraw.plan.type_errors import type_problems
from portdraw.plan.yaml_tree import MAX_TEXT_BYTES, YamlTree, read_tree

Model = TypeVar("Model", bound=BaseModel)


def read_text(path: Path) -> str:
    """Read a text file in UTF-8. Raises PlanError with one sentence where that can't be done."""
    name = str(path)
    try:
        kind = path.stat().st_mode
        if stat.S_ISDIR(kind):
            if path == Path():
                raise _whole(name, "is the folder you stand in, not a file; give the name of the file")
            raise _whole(name, "is a folder, not a file")
        if not stat.S_ISREG(kind):
            raise _whole(name, "is not a plain file")
        with path.open("rb") as file:
            data = file.read(MAX_TEXT_BYTES + 1)
    except FileNotFoundError:
        raise _whole(name, "there is no such file") from None
    except PermissionError:
        raise _whole(name, "can't be opened: this user may not read it") from None
    except (OSError, ValueError):
        raise _whole(name, "can't be read") from None
    if len(data) > MAX_TEXT_BYTES:
        raise _whole(name, "is larger than 8 MB, which no site needs; it was not read")
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError as error:
        before = data[: error.start]
        line, column = before.count(b"\n") + 1, error.start - (before.rfind(b"\n") + 1) + 1
        problem = Problem(line, column, "", "is not UTF-8 text here; save the file as UTF-8")
        raise PlanError(name, [problem]) from None


def load_typed(text: str, name: str, model: type[Model]) -> Model:
    """Read YAML text into a model; `name` is the file's. Raises PlanError with every problem found."""
    typed, _ = load_with_tree(text, name, model)
    return typed


def load_with_tree(text: str, name: str, model: type[Model]) -> tuple[Model, YamlTree]:
    """Read YAML text into a model, and return the tree with the line and column of every part beside it."""
    tree = read_tree(text, name)
    if not isinstance(tree.value, dict):
        line, column = tree.mark(())
        sentence = "must hold keys and values, such as `format: 1`"
        raise PlanError(name, [*tree.problems, Problem(line, column, "", sentence)])
    value: dict[str, Any] = tree.value
    try:
        typed = model.model_validate(value)
    except ValidationError as error:
        raise PlanError(name, [*tree.problems, *type_problems(error, tree, model)]) from None
    if tree.problems:
        raise PlanError(name, tree.problems)
    return typed, tree


def _whole(name: str, sentence: str) -> PlanError:
    return PlanError(name, [Problem(0, 0, "", sentence)])
