"""What a person may do to an alarm over HTTP: acknowledge it, set it aside for a time, take it back."""

from __future__ import annotations

import json
import math
from dataclasses import dataclass
from enum import StrEnum
from typing import Any, Protocol

from portdraw.judgement.alarm import AlarmKind
from portdraw.judgement.alarm_book import AlarmChange, Key
from portdraw.reporting.plain_text import plain

MOST_SHELVED_S = 7 * 86_400.0  # common practice: what is to be aside for longer is planned work, or is to be mended
MOST_LETTERS = 200


class Deed(StrEnum):
    """What is done; the value is the last part of the path."""

    ACKNOWLEDGE = "acknowledge"
    SHELVE = "shelve"
    UNSHELVE = "unshelve"


@dataclass(frozen=True)
class Order:
    """One deed on one alarm. `for_s` is how long it is to be aside, in seconds of site time; 0.0 elsewhere.

    `by` is the name of the token that it came with.
    """

    deed: Deed
    key: Key
    owner: str
    reason: str
    for_s: float
    by: str


@dataclass(frozen=True)
class Handled:
    """What came of an order. `kept`: the history has it; otherwise it is kept as soon as that can be written."""

    change: AlarmChange
    kept: bool


class AlarmDesk(Protocol):
    """Carries orders out. Called in the event loop."""

    def knows(self, key: Key) -> bool:
        """Say whether there is such an alarm."""
        ...

    def carry_out(self, order: Order) -> Handled | None:
        """Carry an order out; None where the alarm is not in a state for it. ValueError with one sentence."""
        ...


def order_from(deed: Deed, body: bytes, by: str) -> Order:
    """Return the order of a request's body. Raises ValueError with one sentence."""
    try:
        given = json.loads(body)
    except (ValueError, RecursionError):
        raise ValueError("the body is no JSON") from None
    if not isinstance(given, dict):
        raise ValueError("the body is no JSON object")
    shelves = deed is Deed.SHELVE
    known = {"kind", "unit", "port", "owner", *(("reason", "for_s") if shelves else ())}
    for name in given:
        if name not in known:
            raise ValueError(f"there is no {plain(str(name), 40)!r} in it; it takes {', '.join(sorted(known))}")
    kind = _text(given, "kind")
    if kind not in {kind.value for kind in AlarmKind}:
        raise ValueError(f"there is no kind of alarm called {plain(kind, 40)!r}")
    key = (kind, _text(given, "unit"), _text(given, "port", needed=False))
    owner = _text(given, "owner", needed=shelves) or by
    return Order(deed, key, owner, _text(given, "reason") if shelves else "", _span(given) if shelves else 0.0, by)


def _text(given: dict[str, Any], name: str, needed: bool = True) -> str:
    value = given.get(name)
    if value is None and not needed:
        return ""
    if value is not None and not isinstance(value, str):
        raise ValueError(f"{name} must be a text{_as_text(value)}")
    if value is None or not value.strip():
        raise ValueError(f"{name} is missing: a text")
    if len(value) > MOST_LETTERS:
        raise ValueError(f"{name} is longer than {MOST_LETTERS} letters")
    return plain(value.strip(), MOST_LETTERS)


def _as_text(value: object) -> str:
    """Return how a number is written as a text, "" for what is no plain number."""
    is_number = isinstance(value, int | float) and not isinstance(value, bool) and abs(value) < 1e9
    return f': write "{value}", not {value}' if is_number else ""


def _span(given: dict[str, Any]) -> float:
    value = given.get("for_s")
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise ValueError("for_s is missing: the seconds for which the alarm is set aside")
    if not (math.isfinite(value) and 60 <= value <= MOST_SHELVED_S):
        raise ValueError(f"for_s must be from 60 to {MOST_SHELVED_S:g}: a minute to seven days")
    return float(value)
