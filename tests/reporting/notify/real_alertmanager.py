"""A real Alertmanager on loopback, with user and password where they are wanted."""

from __future__ import annotations

import subprocess
import time
from pathlib import Path
from typing import Any

import httpx
from tests.requirements import need_program
from tests.service.slipway import free_tcp_port

# "open sesame" in bcrypt, as its web configuration wants it: https://prometheus.io/docs/alerting/latest/https/
PASSWORD = b"open sesame"
PASSWORD_HASH = "$2b$04$PQLVk4p9ffvR6gTzltZOpu1/BuGTRLemQBvyIY1PpDD1zrDZcI95."
START_WITHIN_S = 30.0


class RealAlertmanager:
    """A child process with a folder of its own, ended by its process id. Its own resolve timeout is 2 s."""

    def __init__(self, folder: Path, user: str = "") -> None:
        folder.mkdir(parents=True)
        self._folder = folder
        self.url = f"http://127.0.0.1:{free_tcp_port()}"
        self._auth = (user, PASSWORD.decode()) if user else None
        self._process: subprocess.Popen[bytes] | None = None
        (folder / "am.yml").write_text(
            "global: {resolve_timeout: 2s}\nroute: {receiver: none}\nreceivers: [{name: none}]\n"
        )
        web = f"basic_auth_users: {{{user}: '{PASSWORD_HASH}'}}\n" if user else "{}\n"
        (folder / "web.yml").write_text(web)

    def __enter__(self) -> RealAlertmanager:
        self.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.stop()

    def start(self) -> None:
        """Start, and wait until it is ready."""
        command = [need_program("prometheus-alertmanager"), f"--config.file={self._folder / 'am.yml'}"]
        command += [f"--web.config.file={self._folder / 'web.yml'}", f"--storage.path={self._folder / 'data'}"]
        command += [f"--web.listen-address={self.url.removeprefix('http://')}", "--cluster.listen-address="]
        with (self._folder / "log").open("ab") as log:
            self._process = subprocess.Popen(command, stdin=subprocess.DEVNULL, stdout=log, stderr=log)
        give_up = time.monotonic() + START_WITHIN_S
        while True:
            try:
                if self._get("/-/ready").status_code == httpx.codes.OK:
                    return
            except httpx.HTTPError:
                pass
            assert self._process.poll() is None, (self._folder / "log").read_text()
            assert time.monotonic() < give_up, (self._folder / "log").read_text()
            time.sleep(0.05)

    def stop(self) -> None:
        """Stop; may be started again at the same address, with what it knew."""
        assert self._process is not None
        self._process.terminate()
        try:
            self._process.wait(timeout=20)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait(timeout=10)

    def active(self) -> list[dict[str, Any]]:
        """Return the alerts that are up, by its own account."""
        found: list[dict[str, Any]] = self._get("/api/v2/alerts").json()
        return sorted(found, key=lambda alert: sorted(alert["labels"].items()))

    def _get(self, path: str) -> httpx.Response:
        return httpx.get(f"{self.url}{path}", auth=self._auth, trust_env=False, timeout=10)
