"""Texts that came from outside, made fit to be shown: one line, no control characters, bounded."""

from __future__ import annotations

import unicodedata

LONGEST = 300

# Cc control, Cf format (bidirectional overrides among them), Cs lone surrogate, Co private use,
# Zl and Zp line and paragraph ends (Unicode 15, table 4-4)
HIDDEN_CATEGORIES = frozenset({"Cc", "Cf", "Cs", "Co", "Zl", "Zp"})


def plain(text: str, longest: int = LONGEST) -> str:
    """Return the text on one line with every hidden character shown as a replacement mark, cut at `longest`.

    Names and reasons come from switches and people; on a terminal an escape sequence would act, and a
    bidirectional override would turn a line round.
    """
    if text.isascii() and text.isprintable() and len(text) <= longest:
        return text
    line = " ".join(text[: longest * 4].split())
    shown = "".join("\N{REPLACEMENT CHARACTER}" if unicodedata.category(c) in HIDDEN_CATEGORIES else c for c in line)
    return shown if len(shown) <= longest else shown[: longest - 1] + "\N{HORIZONTAL ELLIPSIS}"
