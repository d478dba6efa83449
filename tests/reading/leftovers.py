"""Counts what the SNMP library and our engine keep for requests that are over: nothing should."""

from __future__ import annotations


def library_leftovers(engine: object) -> int:
    """Count entries in every cache of the library that has one entry a request or a bad answer."""
    left = 0
    for library in engine._engines.values():  # type: ignore[attr-defined]
        dispatcher = library.message_dispatcher
        left += len(dispatcher._MsgAndPduDispatcher__cache._Cache__cacheRepository)
        for model in library.message_processing_subsystems.values():
            for name in ("msgIdIndex", "sendPduHandleIdx"):
                left += len(getattr(model._cache, f"_Cache__{name}"))
        for security in library.security_models.values():
            left += len(security._cache._Cache__cache_entries)
    return left + len(engine._desk._asked)  # type: ignore[attr-defined]
