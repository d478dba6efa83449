"""A copy of the site file for the rehearsal: the units' addresses become loopback, every other byte stays."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import yaml

from portdraw.rehearsal.wiring import RehearsalError

COPY_NAME = "site.yaml"


def write_local_copy(site_file: Path, addresses: Mapping[str, str], folder: Path) -> Path:
    """Write the copy into `folder` and return its path. Raises RehearsalError, OSError."""
    text = site_file.read_bytes().decode("utf-8")
    path = folder / COPY_NAME
    if path.resolve() == site_file.resolve():
        raise RehearsalError(f"{site_file} would be overwritten by its own copy; choose another folder")
    path.write_bytes(with_addresses(text, addresses).encode("utf-8"))
    return path


def with_addresses(text: str, addresses: Mapping[str, str]) -> str:
    """Return the text of a site file with the address of each named unit replaced. Raises RehearsalError."""
    try:
        root = yaml.compose(text, Loader=yaml.SafeLoader)
    except yaml.YAMLError as error:
        raise RehearsalError(f"the site file is not YAML: {error}") from None
    units = _value(root, "units")
    edits = []
    for unit, address in addresses.items():
        node = _value(_value(units, unit), "address")
        if not isinstance(node, yaml.ScalarNode):
            raise RehearsalError(f"unit {unit} has no address in the site file, so none can be replaced")
        edits.append((node.start_mark.index, node.end_mark.index, address))
    for begin, end, address in sorted(edits, reverse=True):
        text = text[:begin] + address + text[end:]
    return text


def _value(node: yaml.Node | None, key: str) -> yaml.Node | None:
    if isinstance(node, yaml.MappingNode):
        pairs: list[tuple[yaml.Node, yaml.Node]] = node.value
        for key_node, value_node in pairs:
            if isinstance(key_node, yaml.ScalarNode) and key_node.value == key:
                return value_node
    return None
