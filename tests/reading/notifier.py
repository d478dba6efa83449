"""net-snmp's own senders of traps and informs, and a listener for them to send to."""

from __future__ import annotations

import asyncio
import os
import socket
import tempfile
from collections.abc import AsyncIterator, Mapping
from contextlib import asynccontextmanager
from dataclasses import dataclass

from tests.reading.real_agent import tool_options
from tests.requirements import need_program

from portdraw.reading.access import Access
from portdraw.reading.catalogue import standard_catalogue
from portdraw.reading.engine import parse_address
from portdraw.reading.notification_gate import Fate, Senders
from portdraw.reading.notification_listener import Hint, NotificationListener

PATIENCE_S = 60.0
PATIENT, HASTY = ("-r", "3", "-t", "5"), ("-r", "0", "-t", "0.5")
PORT_ON_OFF = ("", "1.3.6.1.2.1.105.0.1", "1.3.6.1.2.1.105.1.1.1.6.1.3", "i", "3")  # uptime, name, one binding


async def send(
    program: str, target: str, how: Access | list[str], *what: str, source: str = "127.0.0.1", patient: bool = True
) -> int:
    """Send by snmptrap or snmpinform; return the program's exit code: 1 where an inform was not answered.

    Not `patient`: where no answer is expected.
    """
    options = how if isinstance(how, list) else tool_options(how)
    with tempfile.TemporaryDirectory(prefix="portdraw-notifier-") as folder:
        environment = {**os.environ, "MIBS": "", "SNMP_PERSISTENT_DIR": folder, "SNMPCONFPATH": folder}
        words = [
            need_program(program),
            f"--clientaddr={source}",
            *(PATIENT if patient else HASTY),
            *options,
            target,
            *what,
        ]
        child = await asyncio.create_subprocess_exec(
            *words, env=environment, stdout=asyncio.subprocess.DEVNULL, stderr=asyncio.subprocess.DEVNULL
        )
        async with asyncio.timeout(PATIENCE_S):
            return await child.wait()


@dataclass
class Ear:
    """A listener and what it has hinted at."""

    listener: NotificationListener
    hints: list[Hint]

    @property
    def target(self) -> str:
        """Where it listens, as net-snmp writes it."""
        return f"udp:127.0.0.1:{self.listener.port}"

    @property
    def fates(self) -> dict[Fate, int]:
        """What became of the datagrams; fates that none met are left out."""
        return {fate: count for fate, count in self.listener.counts().fates.items() if count}

    async def until(self, total: int) -> None:
        """Wait until so many datagrams have met their fate."""
        async with asyncio.timeout(PATIENCE_S):
            while sum(self.fates.values()) < total:
                await asyncio.sleep(0.01)


@asynccontextmanager
async def ear(accesses: Mapping[str, Access], **addresses: str) -> AsyncIterator[Ear]:
    """Listen on loopback for the notifications of these units; nothing may escape into the loop."""
    escaped: list[str] = []
    asyncio.get_running_loop().set_exception_handler(lambda _, context: escaped.append(repr(context)))
    sock = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
    sock.bind(("127.0.0.1", 0))
    hints: list[Hint] = []
    units = Senders({name: parse_address(address, "a") for name, address in addresses.items()})
    listener = NotificationListener(sock, accesses, units, standard_catalogue(), hints.append, "skarholm")
    await listener.start()
    try:
        yield Ear(listener, hints)
    finally:
        await listener.close()
        assert not escaped
