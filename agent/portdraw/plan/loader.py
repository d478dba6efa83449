"""The site file, read and checked: a typed Site, or a PlanError with every line that is wrong."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from portdraw.plan.names import Misnamed, check_names
from portdraw.plan.plan_error import SHOWN_LINES, PlanError, Problem
from portdraw.plan.rest_of_site import names_in_the_rest
from portdraw.plan.site import Site
from portdraw.plan.yaml_text import load_with_tree, read_text
from portdraw.plan.yaml_tree import YamlTree, read_tree, show_path


def load_site(path: Path) -> Site:
    """Read a site file. Raises PlanError, whose text names file, line and column of each problem."""
    return load_site_with_tree(path)[0]


def load_site_with_tree(path: Path) -> tuple[Site, YamlTree]:
    """Read a site file, and keep the line and column of every part. Raises PlanError."""
    return _parse(read_text(path), str(path))


def parse_site(text: str, name: str = "site.yaml") -> Site:
    """Read the text of a site file; `name` stands for the file in errors. Raises PlanError."""
    return _parse(text, name)[0]


def _parse(text: str, name: str) -> tuple[Site, YamlTree]:
    try:
        site, tree = load_with_tree(text, name, Site)
    except PlanError as error:
        tree = read_tree(text, name)
        raise PlanError(name, [*error.problems, *_misnamed(tree, names_in_the_rest(tree))]) from None
    problems = _misnamed(tree, check_names(site))
    if problems:
        raise PlanError(name, problems)
    return site, tree


def _misnamed(tree: YamlTree, found: Iterable[Misnamed]) -> list[Problem]:
    placed = sorted(((tree.mark(one.path, of_key=one.of_key), one) for one in found), key=lambda pair: pair[0])
    return [
        Problem(*mark, show_path(one.path), one.sentence + (one.hint() if place < SHOWN_LINES else ""))
        for place, (mark, one) in enumerate(placed)
    ]
