"""A bar that shows how far a long study is: on a terminal only, on standard error, and gone when it is done."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager

from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn


@contextmanager
def study_bar(what: str, *, quiet: bool = False) -> Iterator[Callable[[int, int], None]]:
    """Give a function that takes how many of how many are done. Nothing is shown when piped or `quiet`."""
    console = Console(stderr=True, highlight=False)
    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
    with Progress(*columns, console=console, transient=True, disable=quiet or not console.is_terminal) as bar:
        task = bar.add_task(what, total=None)
        yield lambda done, count: bar.update(task, completed=done, total=count)
