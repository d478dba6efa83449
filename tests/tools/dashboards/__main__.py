"""Writes everything in `dashboards/` but its README.

python -m tests.tools.dashboards          writes the files
python -m tests.tools.dashboards --check  exits 1 where a file differs
"""

from __future__ import annotations

import sys

from tests.tools.dashboards.outputs import FOLDER, outputs


def main() -> int:
    """Write, or check; return the exit code."""
    differs = False
    for name, text in outputs().items():
        path = FOLDER / name
        differs = differs or not path.is_file() or path.read_text(encoding="utf-8") != text
        if "--check" not in sys.argv[1:]:
            path.parent.mkdir(exist_ok=True)
            path.write_text(text, encoding="utf-8")
    return 1 if differs and "--check" in sys.argv[1:] else 0


if __name__ == "__main__":
    sys.exit(main())
