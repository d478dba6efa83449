"""A real rsyslogd on loopback that writes each field as it has parsed it, one JSON object a line."""

from __future__ import annotations

import json
import socket
import subprocess
import time
from pathlib import Path
from typing import Any

import trustme
from tests.requirements import need_program
from tests.service.slipway import free_tcp_port

# rsyslog's own properties: https://www.rsyslog.com/doc/configuration/properties.html
FIELDS = {
    "pri": "pri", "facility": "syslogfacility-text", "severity": "syslogseverity-text", "version": "protocol-version",
    "time": "timereported", "host": "hostname", "app": "app-name", "process": "procid", "kind": "msgid",
    "data": "structured-data", "text": "msg",
}  # fmt: skip
START_WITHIN_S = 20.0


class Rsyslog:
    """A child process with a folder of its own; it listens over TCP, TLS and UDP. Ended by its process id."""

    def __init__(self, folder: Path, driver: str = "ossl") -> None:
        folder.mkdir(parents=True)
        self._folder = folder
        self._out = folder / "out.jsonl"
        self.tcp, self.tls, self.udp = free_tcp_port(), free_tcp_port(), _free_udp_port()
        self.ca = folder / "ca.pem"
        self._process: subprocess.Popen[bytes] | None = None
        authority = trustme.CA()
        authority.cert_pem.write_to_path(self.ca)
        certificate = authority.issue_cert("127.0.0.1", "localhost")
        certificate.private_key_pem.write_to_path(folder / "key.pem")
        certificate.cert_chain_pems[0].write_to_path(folder / "cert.pem")
        self._config = folder / "rsyslog.conf"
        parts = ",".join(
            f'\\"{name}\\":\\"%{prop}:::json{",date-rfc3339" if name == "time" else ""}%\\"'
            for name, prop in FIELDS.items()
        )
        self._config.write_text(
            f'global(workDirectory="{folder}" maxMessageSize="8k" net.enableDNS="off"'
            f' defaultNetstreamDriverCAFile="{self.ca}" defaultNetstreamDriverCertFile="{folder}/cert.pem"'
            f' defaultNetstreamDriverKeyFile="{folder}/key.pem")\n'
            'module(load="imtcp")\nmodule(load="imudp")\n'
            f'template(name="fields" type="string" string="{{{parts}}}\\n")\n'
            f'ruleset(name="all") {{ action(type="omfile" file="{self._out}" template="fields") }}\n'
            f'input(type="imtcp" address="127.0.0.1" port="{self.tcp}" ruleset="all")\n'
            f'input(type="imtcp" address="127.0.0.1" port="{self.tls}" ruleset="all" streamDriver.name="{driver}"'
            ' streamDriver.mode="1" streamDriver.authMode="anon")\n'
            f'input(type="imudp" address="127.0.0.1" port="{self.udp}" ruleset="all")\n'
        )

    def __enter__(self) -> Rsyslog:
        self.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.stop()

    def start(self) -> None:
        """Start, and wait until it listens."""
        command = [need_program("rsyslogd"), "-n", "-f", str(self._config), "-i", str(self._folder / "pid")]
        with (self._folder / "log").open("ab") as log:
            self._process = subprocess.Popen(command, stdin=subprocess.DEVNULL, stdout=log, stderr=log)
        give_up = time.monotonic() + START_WITHIN_S
        while True:
            try:
                socket.create_connection(("127.0.0.1", self.tls), 1).close()
                return
            except OSError:
                assert self._process.poll() is None, (self._folder / "log").read_text()
                assert time.monotonic() < give_up, (self._folder / "log").read_text()
                time.sleep(0.05)

    def stop(self) -> None:
        """Stop; may be started again at the same ports."""
        assert self._process is not None
        self._process.terminate()
        try:
            self._process.wait(timeout=20)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait(timeout=10)

    def count(self) -> int:
        """Return how many lines have been written."""
        return self._out.read_text(encoding="utf-8").count("\n") if self._out.exists() else 0

    def rows(self, count: int, within_s: float = 20.0) -> list[dict[str, Any]]:
        """Return what has been written, once there are so many lines."""
        give_up = time.monotonic() + within_s
        while True:
            text = self._out.read_text(encoding="utf-8") if self._out.exists() else ""
            if text.count("\n") >= count:
                return [json.loads(line) for line in text.splitlines()]
            assert time.monotonic() < give_up, f"{text}\n{(self._folder / 'log').read_text()}"
            time.sleep(0.05)


def _free_udp_port() -> int:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sock:
        sock.bind(("127.0.0.1", 0))
        return int(sock.getsockname()[1])
