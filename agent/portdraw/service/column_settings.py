"""Private columns of watts that one site adds, as the settings file says it."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from portdraw.service.settings_part import Name, Part


class PrivateColumn(Part):
    """A private per-port column of this site: accepted here; read once the site-column reader is there."""

    name: Name
    oid: Annotated[str, Field(pattern=r"^[0-9]+(\.[0-9]+)+$")]
    index: Literal["group-port", "port", "if-index"]
    unit: Literal["W", "0.1 W", "mW"]
    source: Annotated[str, Field(min_length=5)]
