"""Writes the published JSON Schemas anew, from the models that load the files.

python -m tests.tools.schemas          writes them
python -m tests.tools.schemas --check  exits 1 where one differs
"""

from __future__ import annotations

import sys
from pathlib import Path

import portdraw.plan.site
import portdraw.service.settings
from portdraw.plan.site_schema import site_schema
from portdraw.plan.yaml_schema import schema_text
from portdraw.service.settings_schema import settings_schema

SITE_SCHEMA = Path(portdraw.plan.site.__file__).with_name("site.schema.json")
SETTINGS_SCHEMA = Path(portdraw.service.settings.__file__).with_name("settings.schema.json")


def published() -> dict[Path, str]:
    """Return what each file must hold."""
    return {SITE_SCHEMA: schema_text(site_schema()), SETTINGS_SCHEMA: schema_text(settings_schema())}


def main() -> int:
    """Write, or check; return the exit code."""
    check = "--check" in sys.argv[1:]
    differs = [path for path, text in published().items() if not path.exists() or path.read_text("utf-8") != text]
    for path in differs:
        print(f"{path} {'is not what the models say' if check else 'written'}")
        if not check:
            path.write_text(published()[path], encoding="utf-8")
    return 1 if differs and check else 0


if __name__ == "__main__":
    sys.exit(main())
