"""Runs the net-snmp command line tools (Debian package snmp), bounded in time: the outside view of an agent."""

from __future__ import annotations

import asyncio
import os
import shutil

import pytest

from portdraw.rehearsal.credentials import Credentials

COMMAND_WITHIN_S = 30.0


def v2c(held: Credentials) -> list[str]:
    """Return the arguments for v2c."""
    return ["-v2c", "-c", held.community]


def v3(held: Credentials, level: str = "authPriv", user: str | None = None, auth: str | None = None) -> list[str]:
    """Return the arguments for v3 with SHA-256 and AES-128."""
    arguments = ["-v3", "-l", level, "-u", user or held.user]
    if level != "noAuthNoPriv":
        arguments += ["-a", "SHA-256", "-A", auth or held.auth_secret]
    if level == "authPriv":
        arguments += ["-x", "AES", "-X", held.priv_secret]
    return arguments


async def run(tool: str, access: list[str], address: str, *rest: str) -> tuple[int, str]:
    """Run one tool with one try of one second; return its exit code and all that it printed."""
    if shutil.which(tool) is None:
        if os.environ.get("CI"):
            pytest.fail(f"{tool} is not installed (Debian package snmp)")
        pytest.skip(f"{tool} is not installed (Debian package snmp)")
    process = await asyncio.create_subprocess_exec(
        tool, *access, "-On", "-Oe", "-Ot", "-r1", "-t2", address, *rest,
        stdout=asyncio.subprocess.PIPE, stderr=asyncio.subprocess.STDOUT,
    )  # fmt: skip
    try:
        printed, _ = await asyncio.wait_for(process.communicate(), COMMAND_WITHIN_S)
    except TimeoutError:
        process.kill()
        await process.wait()
        raise
    return process.returncode or 0, printed.decode()


async def walk(access: list[str], address: str, root: str) -> dict[str, str]:
    """Return what snmpbulkwalk prints below `root`, as text after the type, by numeric identifier."""
    code, printed = await run("snmpbulkwalk", [*access, "-Ox"], address, root)
    assert code == 0, printed
    rows: dict[str, str] = {}
    for line in printed.splitlines():
        name, equals, told = line.partition(" = ")
        if equals and "No Such" not in told and "No more variables" not in told:
            rows[name.lstrip(".")] = told.split(": ", 1)[-1].strip()
    return rows
