"""A real Prometheus on loopback that scrapes an agent each second."""

from __future__ import annotations

import json
import subprocess
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import httpx
from tests.requirements import need_program
from tests.service.slipway import free_tcp_port


class Prometheus:
    """A child process with a folder of its own, ended by its process id."""

    def __init__(self, folder: Path, target: str, rules: Sequence[Path] = (), more: str = "") -> None:
        """`more` is what the job needs beside its target, as YAML on one line."""
        self._folder, self._target, self._rules = folder, target.partition("://")[2] or target, rules
        self._more = f", {more}" if more else ""
        self._url = f"http://127.0.0.1:{free_tcp_port()}"
        self._process: subprocess.Popen[bytes] | None = None
        self._client = httpx.Client(base_url=f"{self._url}/api/v1/", trust_env=False, timeout=10)

    def __enter__(self) -> Prometheus:
        self._folder.mkdir()
        config = self._folder / "prometheus.yml"
        config.write_text(
            "global: {scrape_interval: 1s, scrape_timeout: 1s, evaluation_interval: 1s}\n"
            f"rule_files: {json.dumps([str(path) for path in self._rules])}\n"
            "scrape_configs:\n"
            f"  - {{job_name: portdraw, static_configs: [{{targets: ['{self._target}']}}]{self._more}}}\n"
        )
        command = [need_program("prometheus"), f"--config.file={config}"]
        command += [f"--storage.tsdb.path={self._folder / 'data'}", "--log.level=error"]
        command += [f"--web.listen-address={self._url.removeprefix('http://')}"]
        with (self._folder / "log").open("wb") as log:
            self._process = subprocess.Popen(command, stdin=subprocess.DEVNULL, stdout=log, stderr=log)
        return self

    def __exit__(self, *_: object) -> None:
        self._client.close()
        assert self._process is not None
        self._process.terminate()
        try:
            self._process.wait(timeout=20)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait(timeout=10)

    def ask(self, expression: str, at_s: float | None = None) -> list[dict[str, Any]]:
        """Return what an instant query brings, now or at a time; nothing while Prometheus is not up yet."""
        when = {} if at_s is None else {"time": f"{at_s:.3f}"}
        answer = self._get("query", {"query": expression, **when})
        rows: list[dict[str, Any]] = [] if answer is None else answer["result"]
        return rows

    def label_values(self, selector: str, label: str) -> list[str]:
        """Return the values of a label among the series of a selector; nothing while Prometheus is not up yet."""
        values: list[str] = self._get(f"label/{label}/values", {"match[]": selector}) or []
        return values

    def _get(self, path: str, params: dict[str, str]) -> Any:
        try:
            answer = self._client.get(path, params=params).json()
        except (httpx.HTTPError, json.JSONDecodeError):
            return None
        assert answer["status"] == "success", answer
        return answer["data"]
