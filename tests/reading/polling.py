"""Runs a poll in a loop of its own and watches that nothing escapes: no exception, no overrun."""

from __future__ import annotations

import asyncio
import time
from collections.abc import AsyncIterator, Callable, Coroutine, Mapping
from contextlib import asynccontextmanager
from typing import Any, TypeVar

from portdraw.observation.unit_observation import UnitObservation
from portdraw.plan.site import Unit
from portdraw.reading.access import Access
from portdraw.reading.catalogue import standard_catalogue
from portdraw.reading.engine import Engine
from portdraw.reading.pysnmp_engine import PysnmpEngine
from portdraw.reading.unit_reader import UnitReader

OVERRUN_S = 2.0  # generous: it is the engine's own deadline that is checked, not the speed of this machine
T = TypeVar("T")


def run(work: Callable[[], Coroutine[Any, Any, T]]) -> T:
    """Run work in a new loop; fail on anything that the loop has to report."""
    escaped: list[str] = []

    async def watched() -> T:
        loop = asyncio.get_running_loop()
        loop.set_exception_handler(lambda _, context: escaped.append(repr(context)))
        result = await work()
        await asyncio.sleep(0)
        return result

    result = asyncio.run(watched())
    assert not escaped
    return result


@asynccontextmanager
async def opened(accesses: Mapping[str, Access]) -> AsyncIterator[PysnmpEngine]:
    """Open the engine and close it."""
    engine = PysnmpEngine(accesses)
    try:
        yield engine
    finally:
        await engine.close()


def reader(address: str, engine: Engine, access: str = "a", ports: Mapping[str, Any] | None = None) -> UnitReader:
    """Return a reader of a unit at an address."""
    unit = Unit.model_validate({"address": address, "access": access, "ports": dict(ports or {})})
    return UnitReader("unit", unit, engine, standard_catalogue(), time.time)


async def poll(one: UnitReader, deadline_s: float, slow: bool = True) -> UnitObservation:
    """Poll once and check that it ended in time."""
    loop = asyncio.get_running_loop()
    began = loop.time()
    observation = await one.poll(deadline_s, slow)
    assert loop.time() - began < deadline_s + OVERRUN_S
    return observation
