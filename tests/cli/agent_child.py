"""The agent in a process of its own, as `portdraw run` starts it, but with a site clock that runs faster.

python -m tests.cli.agent_child SETTINGS SITE_TIME SCALE
"""

from __future__ import annotations

import asyncio
import logging
import sys
from contextlib import closing
from pathlib import Path

from portdraw.service.agent import Agent
from portdraw.service.clock import Clock
from portdraw.service.settings import load_settings
from portdraw.service.wiring import gather, open_history


def main() -> None:
    """Run until killed."""
    settings, site_time_s, scale = sys.argv[1:]
    logging.basicConfig(stream=sys.stderr, level=logging.INFO, format="%(message)s")
    parts = gather(load_settings(Path(settings)))
    with closing(open_history(parts)) as history:
        agent = Agent(parts, history, Clock(float(site_time_s), float(scale)), serve=False)
        asyncio.run(agent.run(asyncio.Event()))


if __name__ == "__main__":
    main()
