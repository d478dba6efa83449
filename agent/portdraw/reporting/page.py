"""Pages made on the server, self-contained: style and script stand in the page, nothing is fetched from elsewhere."""

from __future__ import annotations

import hashlib
import re
from pathlib import Path
from urllib.parse import quote

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup

from portdraw.judgement.assessment import SiteAssessment
from portdraw.reporting.current import AgentHealth, Source
from portdraw.reporting.http_guard import content_policy
from portdraw.reporting.overview_view import alarm_view, late_words, overview_view
from portdraw.reporting.plain_text import plain
from portdraw.reporting.unit_order import in_tree_order
from portdraw.reporting.unit_view import last_read, unit_view
from portdraw.reporting.wording import SHOWN_STATES, clock, most_urgent_first

# a figure and its unit stay on one line: Unicode NO-BREAK SPACE between them
FIGURE_AND_UNIT = re.compile(r"(?<=\d) (?=(?:W|min|s|h|d)\b|%)")

FOLDER = Path(__file__).parent / "pages"
REFRESH_S = 5
NO_NEWS_AFTER_S = 12
FETCH_WITHIN_S = 8


class Pages:
    """Fills the templates in `pages/` from a source."""

    def __init__(self, source: Source) -> None:
        self._source = source
        self._style = (FOLDER / "page.css").read_text(encoding="utf-8")
        times = {"REFRESH_MS": REFRESH_S, "NO_NEWS_AFTER_MS": NO_NEWS_AFTER_S, "FETCH_WITHIN_MS": FETCH_WITHIN_S}
        script = (FOLDER / "live.js").read_text(encoding="utf-8")
        for name, seconds in times.items():
            script = script.replace(name, str(1000 * seconds))
        self._script = script
        self._build = hashlib.sha256((self._style + script).encode()).hexdigest()[:12]
        self._templates = Environment(
            loader=FileSystemLoader(FOLDER),
            autoescape=True,
            undefined=StrictUndefined,
            finalize=_unbroken,
            trim_blocks=True,
            lstrip_blocks=True,
        )
        self._templates.filters["path"] = lambda name: quote(name, safe="")

    @property
    def content_policy(self) -> str:
        """The policy that lets just this style and this script run."""
        return content_policy((self._style,), (self._script,))

    def overview(self, only_main: bool = False) -> str:
        """Return the overview; `only_main` leaves out all but the part that is swapped live."""
        site, health, now_s = self._source.assessment(), self._source.health(), self._source.now_s()
        view = None if site is None else overview_view(site, now_s)
        raised = 0 if site is None else sum(alarm.state in SHOWN_STATES for alarm in site.alarms)
        alarms = "" if site is None else f"{raised} alarm{'' if raised == 1 else 's'} \N{MIDDLE DOT} "
        title = f"{alarms}{'no readings yet' if site is None else plain(site.site)}"
        return self._fill("overview.html", site, health, now_s, title, only_main, view=view)

    def unit(self, name: str, only_main: bool = False) -> str | None:
        """Return the page of a unit, None where the site has none of this name."""
        site, health, now_s = self._source.assessment(), self._source.health(), self._source.now_s()
        unit = None if site is None else site.unit(name)
        if site is None or unit is None:
            return None
        depth = next(depth for listed, depth in in_tree_order(site) if listed is unit)
        alarms = most_urgent_first(a for a in site.alarms if a.unit == name and a.state in SHOWN_STATES)
        return self._fill(
            "unit.html",
            site,
            health,
            now_s,
            f"{plain(name)} \N{MIDDLE DOT} {plain(site.site)}",
            only_main,
            view=unit_view(site, unit, depth, now_s, with_ports=True),
            alarms=[alarm_view(site, alarm, now_s) for alarm in alarms],
            last_read=last_read(site, unit, now_s),
        )

    def _fill(
        self,
        template: str,
        site: SiteAssessment | None,
        health: AgentHealth,
        now_s: float,
        title: str,
        only_main: bool,
        **parts: object,
    ) -> str:
        timezone = "UTC" if site is None else site.timezone
        emulated = site is not None and site.emulated
        return self._templates.get_template(
            template
        ).render(
            only_main=only_main,
            style=Markup(self._style),  # noqa: S704 - our own file, never text from outside
            script=Markup(self._script),  # noqa: S704 - as above
            build=self._build,
            refresh_s=REFRESH_S,
            title=f"EMULATED \N{MIDDLE DOT} {title}" if emulated else title,
            site_name="portdraw" if site is None else plain(site.site),
            timezone=plain(timezone),
            emulated=emulated,
            as_of=clock(now_s, timezone),
            started=clock(health.started_s, timezone, now_s),
            date=clock(now_s, timezone, 0.0)[:10],
            late=late_words(site, health, timezone, now_s),
            health=health,
            cycle=None if site is None else site.cycle,
            margin_percent=None if site is None else f"{site.margin_percent:g}",
            **parts,
        )


def _unbroken(value: object) -> object:
    """Return a text with each figure tied to its unit; everything else, and text already marked safe, as it is."""
    if isinstance(value, str) and not isinstance(value, Markup):
        return FIGURE_AND_UNIT.sub("\N{NO-BREAK SPACE}", value)
    return value
