"""Keeps what was learned of draws in the history, so that it outlives a restart: one entry a unit."""

from __future__ import annotations

import logging
from collections.abc import Mapping

from portdraw.history.store import History, HistoryError
from portdraw.judgement.draw_estimates import UnitDraws, dumped, restored
from portdraw.judgement.estimate.learning import Learning
from portdraw.judgement.memory import Memory
from portdraw.judgement.plan_sheet import plan_sheet
from portdraw.plan.site import Site
from portdraw.plan.tree import Tree

log = logging.getLogger("portdraw.cycle")
_KEY = "draws/"


class DrawKeeper:
    """Reads and writes what was learned. Without a history it keeps nothing."""

    def __init__(self, history: History | None) -> None:
        self._history = history
        self._kept: dict[str, Learning] = {}

    def first_memory(self, site: Site, tree: Tree) -> Memory:
        """Return the memory to begin with: the plan, and what was learned before a restart."""
        sheet = plan_sheet(site, tree)
        draws: dict[str, UnitDraws] = {}
        for unit in site.units:
            try:
                value = None if self._history is None else self._history.get_state(_KEY + unit)
                if value is not None:
                    draws[unit] = restored(tree, sheet, unit, value)
            except (HistoryError, ValueError, AttributeError) as error:
                log.error("what was learned of the draws of %s before the restart can't be taken up: %s", unit, error)
        return Memory(sheet=sheet, draws=draws)

    def keep(self, draws: Mapping[str, UnitDraws]) -> None:
        """Write what was learned anew, a few times an hour for a unit. Raises HistoryError."""
        if self._history is None:
            return
        for unit, of_unit in draws.items():
            if of_unit.learning is not self._kept.get(unit):
                self._history.put_state(_KEY + unit, dumped(of_unit))
                self._kept[unit] = of_unit.learning
