"""net-snmp's own agent as a child process on loopback, serving a recorded agent.

Bounded: a temporary folder of its own (its persistent state too), a free port, ended by its own process id.
"""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from tests.reading import ber
from tests.requirements import need_program

from portdraw.reading.access import Access, Community, User

COMMUNITY = b"watch-only"
AUTH_SECRET = b"correct horse one"
PRIVACY_SECRET = b"correct horse two"
START_WITHIN_S = 15.0
SERVED = (
    # what a recorded agent says in place of net-snmp itself; sysUpTime stays the agent's own
    *("1.0.8802", "1.3.111", "1.3.6.1.2.1.1.1", "1.3.6.1.2.1.1.2", "1.3.6.1.2.1.2", "1.3.6.1.2.1.31"),
    *("1.3.6.1.2.1.33", "1.3.6.1.2.1.47", "1.3.6.1.2.1.99", "1.3.6.1.2.1.105", "1.3.6.1.2.1.131"),
    *("1.3.6.1.4.1.9", "1.3.6.1.4.1.1916", "1.3.6.1.4.1.1991", "1.3.6.1.4.1.32473"),
)
# our names of algorithms to those of net-snmp
AUTH = {
    "md5": "MD5",
    "sha1": "SHA",
    "sha224": "SHA-224",
    "sha256": "SHA-256",
    "sha384": "SHA-384",
    "sha512": "SHA-512",
}
PRIVACY = {
    "des": "DES",
    "aes128": "AES",
    # of longer keys there are two ways to make them from a short digest; net-snmp calls the one of
    # draft-reeder-snmpv3-usm-3desede "-C" and the one of draft-blumenthal-aes-usm-04 by the plain name
    "aes192": "AES-192-C",
    "aes256": "AES-256-C",
    "aes192-blumenthal": "AES-192",
    "aes256-blumenthal": "AES-256",
}


def user(auth: str, privacy: str) -> User:
    """Return the user that the agent knows by these algorithms ("none" for either)."""
    secret = PRIVACY_SECRET if privacy != "none" else b""
    return User(f"u-{auth}-{privacy}", auth, AUTH_SECRET if auth != "none" else b"", privacy, secret)


def level(access: User) -> str:
    """Return the security level as net-snmp calls it."""
    return "noauth" if access.auth == "none" else "auth" if access.privacy == "none" else "priv"


@dataclass
class RealAgent:
    """A running snmpd. `engine_id` is hexadecimal; restarts keep the persistent state unless told otherwise."""

    program: str
    folder: Path
    recording: Path
    users: Sequence[User]
    engine_id: str = "80001f8804706f72746472617731"
    host: str = "127.0.0.1"
    port: int = 0
    process: subprocess.Popen[bytes] | None = None

    @property
    def address(self) -> str:
        """Where it listens, as a site file writes it."""
        return f"[{self.host}]:{self.port}" if self.is_v6 else f"{self.host}:{self.port}"

    @property
    def is_v6(self) -> bool:
        """True for an IPv6 address."""
        return ":" in self.host

    @property
    def tool_address(self) -> str:
        """Where it listens, as net-snmp writes it."""
        return f"{'udp6' if self.is_v6 else 'udp'}:{self.address}"

    def start(self) -> None:
        """Start and wait until it answers; a port that somebody else took meanwhile is tried anew."""
        for _ in range(3):
            self.port = self.port or _free_port(self.host)
            self._write_settings()
            log = (self.folder / "snmpd.log").open("ab")
            environment = {**os.environ, "SNMP_PERSISTENT_DIR": str(self.folder / "state"), "MIBS": ""}
            command = [self.program, "-f", "-Lo", "-C", "-I", "-ifTable,ifXTable,interface,interfaces"]
            command += ["-c", str(self.folder / "snmpd.conf"), self.tool_address]
            self.process = subprocess.Popen(
                command, env=environment, stdin=subprocess.DEVNULL, stdout=log, stderr=log, cwd=self.folder
            )
            log.close()
            if self._answers():
                return
            self.stop()
            self.port = 0
        raise AssertionError((self.folder / "snmpd.log").read_text(errors="replace")[-2000:])

    def stop(self, kill: bool = False) -> None:
        """End it by its process id; `kill` leaves it no time to write its state."""
        if self.process is not None:
            self.process.send_signal(signal.SIGKILL if kill else signal.SIGTERM)
            try:
                self.process.wait(timeout=5)
            except subprocess.TimeoutExpired:
                self.process.kill()
                self.process.wait(timeout=5)
            self.process = None

    def pause(self) -> None:
        """Let it hang: it takes questions and answers none."""
        assert self.process is not None
        self.process.send_signal(signal.SIGSTOP)

    def resume(self) -> None:
        """Let it go on."""
        assert self.process is not None
        self.process.send_signal(signal.SIGCONT)

    def forget_state(self) -> None:
        """Lose the count of its own restarts, as cheap agents do."""
        for path in (self.folder / "state").glob("*.conf"):
            path.unlink()

    def _write_settings(self) -> None:
        (self.folder / "state").mkdir(exist_ok=True)
        script = Path(__file__).with_name("pass_persist.py")
        lines = [
            f"exactEngineID 0x{self.engine_id}",
            f"rocommunity {COMMUNITY.decode()}",
            f"rocommunity6 {COMMUNITY.decode()}",
            "dontLogTCPWrappersConnects 1",
            "sysName recorded-agent",
        ]
        for one in self.users:
            line = f"createUser {one.user}"
            if one.auth != "none":
                line += f' {AUTH[one.auth]} "{one.auth_secret.decode()}"'
            if one.privacy != "none":
                line += f' {PRIVACY[one.privacy]} "{one.privacy_secret.decode()}"'
            lines += [line, f"rouser {one.user} {level(one)}"]
        lines += [f"pass_persist -p 10 .{root} {sys.executable} -ISS {script} {self.recording}" for root in SERVED]
        (self.folder / "snmpd.conf").write_text("\n".join(lines) + "\n")

    def _answers(self) -> bool:
        question = ber.request(COMMUNITY, ber.GET, 1, [(1, 3, 6, 1, 2, 1, 1, 3, 0)])
        give_up = time.monotonic() + START_WITHIN_S
        with socket.socket(socket.AF_INET6 if self.is_v6 else socket.AF_INET, socket.SOCK_DGRAM) as sock:
            sock.settimeout(0.2)
            while time.monotonic() < give_up and self.process is not None and self.process.poll() is None:
                try:
                    sock.sendto(question, (self.host, self.port))
                    if sock.recv(2000):
                        return True
                except OSError:
                    time.sleep(0.02)
        return False


@contextmanager
def real_agent(
    recording: Path,
    users: Sequence[User] = (),
    engine_id: str | None = None,
    host: str = "127.0.0.1",
    port: int = 0,
) -> Iterator[RealAgent]:
    """Run snmpd over a recording; skips the test where snmpd is not installed. `port` 0 is a free one."""
    program = need_program("snmpd")
    with tempfile.TemporaryDirectory(prefix="portdraw-snmpd-") as folder:
        agent = RealAgent(program, Path(folder), recording, tuple(users))
        agent.engine_id = engine_id or agent.engine_id
        agent.host, agent.port = host, port
        agent.start()
        try:
            yield agent
        finally:
            agent.stop()


def tool_options(access: Access) -> list[str]:
    """Return how net-snmp's own tools are told the same access."""
    if isinstance(access, Community):
        return ["-v2c", "-c", access.community.decode()]
    options = [
        "-v3",
        "-u",
        access.user,
        "-l",
        {"noauth": "noAuthNoPriv", "auth": "authNoPriv", "priv": "authPriv"}[level(access)],
    ]
    if access.auth != "none":
        options += ["-a", AUTH[access.auth], "-A", access.auth_secret.decode()]
    if access.privacy != "none":
        options += ["-x", PRIVACY[access.privacy], "-X", access.privacy_secret.decode()]
    return options


def _free_port(host: str) -> int:
    with socket.socket(socket.AF_INET6 if ":" in host else socket.AF_INET, socket.SOCK_DGRAM) as sock:
        sock.bind((host, 0))
        return int(sock.getsockname()[1])
