"""Seconds as people say them."""

from __future__ import annotations


def said_s(seconds: float) -> str:
    """Return a span of seconds in words: 45 s, 5 min 30 s, 1 h 12 min."""
    whole = round(seconds)
    if whole < 60:
        return f"{whole} s"
    if whole < 3600:
        rest = f" {whole % 60} s" if whole % 60 else ""
        return f"{whole // 60} min{rest}"
    minutes = whole % 3600 // 60
    return f"{whole // 3600} h" + (f" {minutes} min" if minutes else "")
