"""A site as a key: the very object, not what is in it."""

from __future__ import annotations

from tests.plan.samples import SMALL

from portdraw.plan.loader import parse_site
from portdraw.plan.site_itself import SiteItself


def test_only_the_very_same_site_is_equal() -> None:
    one, alike = parse_site(SMALL), parse_site(SMALL)
    assert one == alike
    assert SiteItself(one) == SiteItself(one)
    assert SiteItself(one) != SiteItself(alike)
    assert SiteItself(one) != SiteItself(one.model_copy())
    assert SiteItself(one) != one
    assert {SiteItself(one): 1, SiteItself(alike): 2}[SiteItself(one)] == 1
