"""Writes the tables that are made from code: metrics and alarms in README.md, the life of an alarm in DEVELOPERS.md.

python -m tests.tools.readme_tables          writes them
python -m tests.tools.readme_tables --check  exits 1 where a file differs
"""

from __future__ import annotations

import re
import sys
from pathlib import Path

from portdraw.judgement.alarm_rule import ALARM_RULES
from portdraw.judgement.alarm_states import TRANSITIONS
from portdraw.reporting.metric_catalogue import CATALOGUE

TOP = Path(__file__).resolve().parent.parent.parent
README, DEVELOPERS = TOP / "README.md", TOP / "DEVELOPERS.md"


def metrics_table() -> str:
    """Return the table of all metrics."""
    rows = [
        f"| `{metric.name}` | {metric.type.value} | {', '.join(metric.labels) or 'none'} | {metric.help} |"
        for metric in CATALOGUE
    ]
    return "\n".join(["| metric | type | labels | what it says |", "|---|---|---|---|", *rows])


def alarms_table() -> str:
    """Return the table of all kinds of alarm."""
    rows = [
        f"| `{kind.value}` | {rule.severity.value} | {rule.on_delay_s:g} s, {rule.off_delay_s:g} s | "
        f"{f'{rule.dead_band_percent:g} %' if rule.dead_band_percent else 'none'} | {rule.consequence} |"
        for kind, rule in ALARM_RULES.items()
    ]
    head = "| kind | severity, unless computed | on-delay, off-delay | dead-band | if nobody acts |"
    return "\n".join([head, "|---|---|---|---|---|", *rows])


def life_table() -> str:
    """Return the life of an alarm: from which state, on what, to which."""
    rows = [f"| {state.value} | {event.value} | {after.value} |" for (state, event), after in TRANSITIONS.items()]
    return "\n".join(["| state | event | next state |", "|---|---|---|", *rows])


def with_tables(text: str) -> str:
    """Return README's text with its tables as the code has them. Raises ValueError where a marker is missing."""
    return _filled(text, {"metrics": metrics_table(), "alarms": alarms_table()})


def with_life(text: str) -> str:
    """Return the text of DEVELOPERS.md with its table as the code has it. Raises ValueError as `with_tables`."""
    return _filled(text, {"alarm-life": life_table()})


def _filled(text: str, tables: dict[str, str]) -> str:
    for name, table in tables.items():
        block = re.compile(rf"<!-- {name} -->\n.*?<!-- /{name} -->", re.DOTALL)
        if not block.search(text):
            raise ValueError(f"the markers of {name} are missing")
        text = block.sub(lambda _, name=name, table=table: f"<!-- {name} -->\n{table}\n<!-- /{name} -->", text)  # type: ignore[misc]
    return text


def main() -> int:
    """Write, or check; return the exit code."""
    differs = False
    for path, fill in ((README, with_tables), (DEVELOPERS, with_life)):
        text = path.read_text(encoding="utf-8")
        made = fill(text)
        differs = differs or made != text
        if "--check" not in sys.argv[1:]:
            path.write_text(made, encoding="utf-8")
    return 1 if differs and "--check" in sys.argv[1:] else 0


if __name__ == "__main__":
    sys.exit(main())
