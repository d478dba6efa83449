"""When each receiver last took a trial message, kept in the history."""

from __future__ import annotations

from collections.abc import Mapping

from portdraw.history.store import History

STATE_KEY = "receiver-trials"
EVENT_KIND = "receiver-trial"


def last_trials(history: History) -> dict[str, float]:
    """Return the time [s since the epoch] of each receiver's last good trial. Raises HistoryError."""
    stored = history.get_state(STATE_KEY)
    if not isinstance(stored, Mapping):
        return {}
    return {str(name): float(time_s) for name, time_s in stored.items() if isinstance(time_s, int | float)}


def note_trials(history: History, taken: Mapping[str, float]) -> None:
    """Keep the times of trials that were taken, and write an event for each. Raises HistoryError."""
    for name, time_s in taken.items():
        history.add_event(time_s, EVENT_KIND, None, None, f"receiver {name} took a trial message")
    history.put_state(STATE_KEY, last_trials(history) | dict(taken))
