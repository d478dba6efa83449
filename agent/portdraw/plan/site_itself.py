"""A site as a key of what is worked out once for it."""

from __future__ import annotations

from portdraw.plan.site import Site


class SiteItself:
    """Equal to a key of the very same object only: a site never changes, and a changed copy is another site."""

    __slots__ = ("site",)

    def __init__(self, site: Site) -> None:
        self.site = site

    def __hash__(self) -> int:
        return id(self.site)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, SiteItself) and other.site is self.site
