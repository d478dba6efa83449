"""What fails next: each failure under each load, as pages, metrics and status read it. Facts only, no computing."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from math import isfinite

from portdraw.powerflow.failure import FailureKind
from portdraw.powerflow.failure_result import Outcome


class StudiedLoad(StrEnum):
    """The load under which a failure is studied.

    Now: what is drawn. Tonight: the largest draws of the same hour in the last days. Design: the plan's worst case.
    """

    NOW = "now"
    TONIGHT = "tonight"
    DESIGN = "design"


@dataclass(frozen=True, slots=True)
class Outlook:
    """One failure under one load.

    `dark` go dark whatever the truth within the bounds of readings, `may_go_dark` perhaps. `limit` is the limit that
    binds, or comes nearest to it, "" where the failure loads none more; `subject` is whose limit it is. Watts where
    the limit is measured; None where they can't be worked out, and `reason` says why. `over` are limits that stay
    over, as nothing is shed for a circuit or a UPS. `tight`: fits, but leaves less than is to be kept after a
    failure. `minutes` is how long `battery` lasts then. `why` has the reasons of the verdict, `highest` the highest
    criticality of a device that the promise covers and that goes, or may go, dark. `assumed` are units whose draw is
    not known, so that the largest planned watts stand for it. `undeclared`: it rests on what the
    plan does not declare.
    """

    load: StudiedLoad
    outcome: Outcome
    dark: tuple[str, ...] = ()
    may_go_dark: tuple[str, ...] = ()
    limit: str = ""
    subject: str = ""
    need_w: float | None = None
    limit_w: float | None = None
    over: tuple[str, ...] = ()
    tight: bool = False
    minutes: float | None = None
    battery: str = ""
    why: tuple[str, ...] = ()
    highest: int | None = None
    assumed: tuple[str, ...] = ()
    undeclared: bool = False
    reason: str = ""

    @property
    def known(self) -> bool:
        """Whether it rests on figures that are known: none stands in, and none is lacking."""
        return not self.assumed and (not self.limit or self.headroom_w is not None)

    @property
    def headroom_w(self) -> float | None:
        """Watts left at the limit, negative where it is short; None where no limit is touched or it is unknown."""
        if self.need_w is None or self.limit_w is None or not isfinite(self.limit_w - self.need_w):
            return None
        return self.limit_w - self.need_w

    @property
    def unsafe(self) -> bool:
        """Whether the site's promise is broken, or may be, or a limit stays over that nothing is shed for."""
        return self.outcome in (Outcome.NOT_SURVIVED, Outcome.MAY_NOT_SURVIVE) or (
            self.outcome is Outcome.SURVIVED and bool(self.over)
        )

    @property
    def rings(self) -> bool:
        """Whether it is unsafe for certain, or by the draws as they are read: worth an alarm.

        What only may happen, within the error of readings or for want of what the plan does not declare, is a
        standing finding: nobody on shift can act on it.
        """
        if self.outcome is not Outcome.MAY_NOT_SURVIVE:
            return self.unsafe
        return not self.undeclared and self.headroom_w is not None and self.headroom_w < 0


@dataclass(frozen=True, slots=True)
class NextFailure:
    """One failure, from the legs as they stand, with what it does under each load that was studied."""

    what: str
    kind: FailureKind
    moved_units: tuple[str, ...]
    outlooks: tuple[Outlook, ...]

    def on(self, load: StudiedLoad) -> Outlook | None:
        """Return what it does under a load, None where that was not studied."""
        return next((outlook for outlook in self.outlooks if outlook.load is load), None)


@dataclass(frozen=True, slots=True)
class Finding:
    """Something that stands until somebody changes the plan: shown, not rung. `sentence` says it in full."""

    load: StudiedLoad
    what: str
    sentence: str
