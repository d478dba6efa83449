"""A real Prometheus on loopback that scrapes an agent each second."""

from __future__ import annotations

import json
import subprocess
from pathlib import Path
from typing import Any

import httpx
from tests.requirements import need_program
from tests.service.slipway import free_tcp_port


class Prometheus:
    """A child process with a folder of its own, ended by its process id."""

    def __init__(self, folder: Path, target: str) -> None:
        self._folder, self._target = folder, target.removeprefix("http://")
        self._url = f"http://127.0.0.1:{free_tcp_port()}"
        self._process: subprocess.Popen[bytes] | None = None

    def __enter__(self) -> Prometheus:
        self._folder.mkdir()
        config = self._folder / "prometheus.yml"
        config.write_text(
            "global: {scrape_interval: 1s, scrape_timeout: 1s}\n"
            "scrape_configs:\n"
            f"  - {{job_name: portdraw, static_configs: [{{targets: ['{self._target}']}}]}}\n"
        )
        command = [need_program("prometheus"), f"--config.file={config}"]
        command += [f"--storage.tsdb.path={self._folder / 'data'}", "--log.level=error"]
        command += [f"--web.listen-address={self._url.removeprefix('http://')}"]
        with (self._folder / "log").open("wb") as log:
            self._process = subprocess.Popen(command, stdin=subprocess.DEVNULL, stdout=log, stderr=log)
        return self

    def __exit__(self, *_: object) -> None:
        assert self._process is not None
        self._process.terminate()
        try:
            self._process.wait(timeout=20)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait(timeout=10)

    def ask(self, expression: str) -> list[dict[str, Any]]:
        """Return what an instant query brings; nothing while Prometheus is not up yet."""
        try:
            answer = httpx.get(
                f"{self._url}/api/v1/query", params={"query": expression}, trust_env=False, timeout=10
            ).json()
        except (httpx.HTTPError, json.JSONDecodeError):
            return []
        assert answer["status"] == "success", answer
        rows: list[dict[str, Any]] = answer["data"]["result"]
        return rows
