"""One SNMP agent per emulated unit, on loopback: v2c, and v3 with SHA-256 and AES-128.

All of them live in the loop of the caller.
"""

from __future__ import annotations

import asyncio
import secrets
import socket
from collections.abc import Callable
from typing import Any

from pysnmp.carrier.asyncio.dgram import udp
from pysnmp.carrier.asyncio.dispatch import AsyncioDispatcher
from pysnmp.entity import config
from pysnmp.entity.engine import SnmpEngine
from pysnmp.entity.rfc3413 import cmdrsp, context
from pysnmp.proto import rfc1902

from portdraw.rehearsal.credentials import Credentials
from portdraw.rehearsal.mib_map import MibMap

LOOPBACK = "127.0.0.1"
START_WITHIN_S = 5.0
V3 = 3  # SNMP message processing model of v3 (RFC 3412)
V1 = 0
AUTH_PRIV = 3  # securityLevel authPriv (RFC 3411)
HOUSEKEEPING_S = 1.0
ENGINE_ID_HEAD = bytes([0x80, 0x00, 0x7E, 0xD9, 0x05])  # RFC 3411: enterprise 32473 (documentation), then octets


class _Transport(udp.UdpAsyncioTransport):  # type: ignore[misc]  # the library carries no types
    """Hears nothing while its unit is dark, boots or can't be reached: such a unit does not answer at all."""

    def __init__(self, answers: Callable[[], bool]):
        super().__init__()
        self._answers = answers

    def datagram_received(self, datagram: bytes, transport_address: Any) -> None:
        """Take a datagram, or lose it."""
        if self._answers():
            super().datagram_received(datagram, transport_address)

    async def ready(self) -> None:
        """Wait until the socket belongs to the loop."""
        await self._lport


class _Guard:
    """Lets v3 requests read with authentication and privacy only; without, they are refused (RFC 3415, noAccess)."""

    def process_pdu(self, engine: Any, model: Any, security_model: Any, name: Any, level: Any, *rest: Any) -> None:
        """Note the security level for the map, then go on as usual."""
        mib: MibMap = self.snmpContext.get_mib_instrum(b"")  # type: ignore[attr-defined]
        mib.allowed = int(model) != V3 or int(level) == AUTH_PRIV
        super().process_pdu(engine, model, security_model, name, level, *rest)  # type: ignore[misc]


class _Get(_Guard, cmdrsp.GetCommandResponder):  # type: ignore[misc]
    pass


class _Next(_Guard, cmdrsp.NextCommandResponder):  # type: ignore[misc]
    pass


class _Bulk(_Guard, cmdrsp.BulkCommandResponder):  # type: ignore[misc]
    pass


class _Set(_Guard, cmdrsp.SetCommandResponder):  # type: ignore[misc]
    pass


class Agent:
    """One emulated switch on a port of its own. `answers` says whether it can be heard at this moment."""

    def __init__(self, mib: MibMap, credentials: Credentials, answers: Callable[[], bool]):
        self._mib = mib
        self._credentials = credentials
        self._answers = answers
        self._engine: Any = None
        self._dispatcher: Any = None
        self._socket: socket.socket | None = None

    async def start(self, port: int = 0) -> int:
        """Bind 127.0.0.1:`port` (0: a free one), begin to answer, return the port. Raises OSError, TimeoutError."""
        self._socket = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        try:
            self._socket.setblocking(False)
            self._socket.bind((LOOPBACK, port))
            bound: int = self._socket.getsockname()[1]
            self._engine = self._make_engine()
            transport = _Transport(self._answers)
            transport.open_server_mode(sock=self._socket)
            self._dispatcher = AsyncioDispatcher(loop=asyncio.get_running_loop())
            self._dispatcher.set_timer_resolution(HOUSEKEEPING_S)
            self._engine.register_transport_dispatcher(self._dispatcher)
            config.add_transport(self._engine, udp.DOMAIN_NAME, transport)
            await asyncio.wait_for(transport.ready(), START_WITHIN_S)
        except BaseException:
            self.stop()
            raise
        return bound

    def stop(self) -> None:
        """Close the socket and everything behind it; may be called twice."""
        if self._dispatcher is not None:
            self._dispatcher.close_dispatcher()
            self._dispatcher = None
        if self._engine is not None and self._engine.transport_dispatcher is not None:
            self._engine.unregister_transport_dispatcher()
        self._engine = None
        if self._socket is not None:
            self._socket.close()
            self._socket = None

    def _make_engine(self) -> Any:
        engine = SnmpEngine()
        # Engine id of our own; handing it to the constructor would make the library keep a file of boots.
        (engine_id,) = engine.get_mib_builder().import_symbols("__SNMP-FRAMEWORK-MIB", "snmpEngineID")
        engine_id.syntax = engine_id.syntax.clone(ENGINE_ID_HEAD + secrets.token_bytes(8))
        engine.snmpEngineID = engine_id.syntax
        engine.message_processing_subsystems.pop(V1, None)
        held = self._credentials
        config.add_v1_system(engine, "rehearsal-community", rfc1902.OctetString(held.community))
        config.add_v3_user(
            engine,
            held.user,
            config.USM_AUTH_HMAC192_SHA256,
            held.auth_secret,
            config.USM_PRIV_CFB128_AES,
            held.priv_secret,
        )
        snmp_context = context.SnmpContext(engine)
        snmp_context.context_names[b""] = self._mib
        for responder in (_Get, _Next, _Bulk, _Set):
            responder(engine, snmp_context)
        return engine
