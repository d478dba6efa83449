"""A condition: what a rule sees wrong at one moment. The alarm book makes alarms of conditions and time."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from portdraw.judgement.alarm import AlarmKind, Severity
from portdraw.judgement.wording import clock_text


class Presence(StrEnum):
    """How a condition stands. No condition at all means: judged, and not there."""

    PRESENT = "present"
    DEAD_BAND = "within the dead-band"  # keeps an alarm that is up, begins none
    UNKNOWN = "can't be judged"  # a reading is missing: begins none, ends none


@dataclass(frozen=True)
class Condition:
    """One condition of one unit (port is None) or port.

    The sentence is `head`, then `when` ("since", "at"; empty for none) with the clock, `place` and `tail`; see
    `sentence`. `tail` is what is so now; the rest stays true when it is over, see `summary`.
    `sure`: two independent signs agree, so that no on-delay is needed.
    `value` and `limit` are in `measure` ("W", "days", ...).
    `since_s` [s since the epoch] is when it began, where the rule knows better than "when first seen"; where its
    beginning was missed (it was so at the first reading), `began_seen` is False.
    `witness` is the unit whose readings it rests on, the unit itself when empty; `read_s` [s since the epoch] is when
    the newest of these was taken, None where the rule does not say.
    """

    kind: AlarmKind
    unit: str
    port: str | None
    head: str
    tail: str = "."
    when: str = "since"
    presence: Presence = Presence.PRESENT
    value: float | None = None
    limit: float | None = None
    measure: str = ""
    sure: bool = False
    severity: Severity | None = None
    why_severity: str = ""
    consequence: str = ""
    action: str = ""
    since_s: float | None = None
    witness: str = ""
    place: str = ""
    began_seen: bool = True
    read_s: float | None = None

    @property
    def key(self) -> tuple[str, str, str]:
        """Kind, unit and port, as an alarm's key."""
        return (self.kind.value, self.unit, self.port or "")

    def sentence(self, began_s: float, now_s: float, timezone: str) -> str:
        """Return the whole sentence: what, where, how much, since when (the site's local time)."""
        return f"{self._began(began_s, now_s, timezone)}{self.tail}"

    def summary(self, began_s: float, now_s: float, timezone: str) -> str:
        """Return the sentence without what is only so while the condition is there."""
        began = self._began(began_s, now_s, timezone)
        return began if began.endswith((".", "!", "?")) else f"{began}."

    def _began(self, began_s: float, now_s: float, timezone: str) -> str:
        if not self.when:
            return f"{self.head}{self.place}"
        return f"{self.head} {self.when} {clock_text(began_s, now_s, timezone)}{self.place}"


def unjudged(kind: AlarmKind, unit: str, port: str | None = None) -> Condition:
    """Return the condition that says: a reading is missing, nothing can be said of this kind here."""
    return Condition(kind, unit, port, head="", presence=Presence.UNKNOWN)
