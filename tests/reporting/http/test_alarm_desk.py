"""What an order may hold; the orders themselves are carried out in tests of the service."""

from __future__ import annotations

import json
import re

import pytest

from portdraw.reporting.http.alarm_desk import Deed, order_from

ORDER = {"kind": "power-denied", "unit": "north-pier", "owner": "x", "reason": "y", "for_s": 60}


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"port": 5}, 'port must be a text: write "5", not 5'),
        ({"port": True}, "port must be a text"),
        ({"port": ["5"]}, "port must be a text"),
        ({"unit": 7}, 'unit must be a text: write "7", not 7'),
        ({"unit": None}, "unit is missing: a text"),
        ({"port": " "}, "port is missing: a text"),
    ],
)
def test_a_number_where_a_text_belongs_is_told_as_that(given: dict[str, object], said: str) -> None:
    with pytest.raises(ValueError, match=f"^{re.escape(said)}$"):
        order_from(Deed.SHELVE, json.dumps({**ORDER, **given}).encode(), "shift")
