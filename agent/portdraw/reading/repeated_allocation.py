"""Columns of "consumption" that merely repeat what was allocated: an agent without measuring hardware.

Seen in recorded agents: consumption equals the allocation on every port in use, to the milliwatt, and the largest
watts ever drawn stay 0. Such watts are granted, not measured.
"""

from __future__ import annotations

from collections.abc import Mapping

from portdraw.reading.catalogue import Catalogue
from portdraw.reading.columns import Column


def repeating(catalogue: Catalogue, columns: Mapping[str, Column]) -> dict[str, bool]:
    """Return for columns of watts whether they repeat the allocation.

    A column that was not read together with the allocation, or has no port in use, is not judged: it is absent.
    """
    found: dict[str, bool] = {}
    for name, entry in catalogue.objects.items():
        if not entry.repeats or name not in columns or entry.repeats not in columns:
            continue
        watts, allocated = _numbers(columns[name]), _numbers(columns[entry.repeats])
        used = {index: value for index, value in watts.items() if value}
        peaks = _numbers(columns[entry.unless_peak]) if entry.unless_peak in columns else {}
        if used:
            same = all(allocated.get(index) == value for index, value in used.items())
            found[name] = same and not any(peaks.values())
    return found


def _numbers(column: Column) -> dict[tuple[int, ...], int]:
    return {index: varbind.value for index, varbind in column.rows.items() if isinstance(varbind.value, int)}
