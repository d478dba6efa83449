"""Writes the tables of README.md that are made from code: metrics and alarms.

python -m tests.tools.readme_tables          writes them
python -m tests.tools.readme_tables --check  exits 1 where README.md differs
"""

from __future__ import annotations

import re
import sys
from pathlib import Path

from portdraw.judgement.alarm_rule import ALARM_RULES
from portdraw.reporting.metric_catalogue import CATALOGUE

README = Path(__file__).resolve().parent.parent.parent / "README.md"


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


def with_tables(text: str) -> str:
    """Return README's text with both tables as the code has them. Raises ValueError where a marker is missing."""
    for name, table in (("metrics", metrics_table()), ("alarms", alarms_table())):
        block = re.compile(rf"<!-- {name} -->\n.*?<!-- /{name} -->", re.DOTALL)
        if not block.search(text):
            raise ValueError(f"README.md lacks the markers of {name}")
        text = block.sub(lambda _, name=name, table=table: f"<!-- {name} -->\n{table}\n<!-- /{name} -->", text)  # type: ignore[misc]
    return text


def main() -> int:
    """Write, or check; return the exit code."""
    text = README.read_text(encoding="utf-8")
    made = with_tables(text)
    if "--check" in sys.argv[1:]:
        return 0 if made == text else 1
    README.write_text(made, encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
