"""Pages made on the server, self-contained: style and script stand in the page, nothing is fetched from elsewhere."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Callable
from pathlib import Path
from urllib.parse import quote

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup, escape

from portdraw.judgement.assessment import SiteAssessment
from portdraw.reporting.alarm_view import alarm_view
from portdraw.reporting.current import AgentHealth, Source
from portdraw.reporting.http.guard import content_policy
from portdraw.reporting.look import PLAIN, Look
from portdraw.reporting.overview_view import MOST_UNITS_IN_FULL, late_words, overview_view
from portdraw.reporting.plain_text import plain
from portdraw.reporting.sheet_cache import SheetCache
from portdraw.reporting.unit_order import in_tree_order
from portdraw.reporting.unit_view import last_read, unit_view
from portdraw.reporting.wording import SHOWN_STATES, clock, most_urgent_first

# a figure and its unit stay on one line: Unicode NO-BREAK SPACE between them
FIGURE_AND_UNIT = re.compile(r"(?<=\d) (?=(?:W|min|s|h|d)\b|%)")

LONGEST_WHOLE = 24  # characters: a longer name may break at its hyphens, to stay on a phone's screen

FOLDER = Path(__file__).parent / "pages"
RELOAD_S = 10  # without script
KEEP_SHEET_S = 5.0  # site clock: as old as the ages on a sheet may be
SCRIPT_TIMES_S = {
    "REFRESH_MS": 10,  # a sheet is asked for anew at least so often, for the ages on it
    "ASK_WITHOUT_STREAM_MS": 4,
    "NO_NEWS_AFTER_MS": 8,
    "BROKEN_FOR_MS": 3,
    "FETCH_WITHIN_MS": 6,
    "TRY_STREAM_AGAIN_MS": 10,
}


class Pages:
    """Fills the templates in `pages/` from a source."""

    def __init__(self, source: Source) -> None:
        self._source = source
        self._cache = SheetCache()
        self._style = (FOLDER / "page.css").read_text(encoding="utf-8")
        script = (FOLDER / "live.js").read_text(encoding="utf-8")
        for name, seconds in SCRIPT_TIMES_S.items():
            script = re.sub(rf"\b{name}\b", str(1000 * seconds), script)
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
        self._templates.filters["whole"] = _whole
        self._templates.filters["path"] = lambda name: quote(name, safe="")

    @property
    def content_policy(self) -> str:
        """The policy that lets just this style and this script run."""
        return content_policy((self._style,), (self._script,))

    def overview(self, only_main: bool = False, look: Look = PLAIN) -> str:
        """Return the overview; `only_main` leaves out all but the part that is swapped live."""
        site, health, now_s = self._source.assessment(), self._source.health(), self._source.now_s()
        raised = 0 if site is None else sum(alarm.state in SHOWN_STATES for alarm in site.alarms)
        alarms = "" if site is None else f"{raised} alarm{'' if raised == 1 else 's'} \N{MIDDLE DOT} "
        title = _title(site, health, f"{alarms}{'no readings yet' if site is None else plain(site.site)}")

        def make() -> str:
            view = None if site is None else overview_view(site, now_s, MOST_UNITS_IN_FULL)
            return self._sheet("overview.html", site, health, now_s, title, look, view=view)

        return self._page(("overview", look), site, health, now_s, title, look, only_main, make)

    def unit(self, name: str, only_main: bool = False, look: Look = PLAIN) -> str | None:
        """Return the page of a unit, None where the site has none of this name."""
        site, health, now_s = self._source.assessment(), self._source.health(), self._source.now_s()
        unit = None if site is None else site.unit(name)
        if site is None or unit is None:
            return None
        title = _title(site, health, f"{plain(name)} \N{MIDDLE DOT} {plain(site.site)}")

        def make() -> str:
            depth = next(depth for listed, depth in in_tree_order(site) if listed is unit)
            alarms = most_urgent_first(a for a in site.alarms if a.unit == name and a.state in SHOWN_STATES)
            return self._sheet(
                "unit.html",
                site,
                health,
                now_s,
                title,
                look,
                view=unit_view(site, unit, depth, now_s, with_ports=True),
                alarms=[alarm_view(site, alarm, now_s) for alarm in alarms],
                last_read=last_read(site, unit, now_s),
            )

        return self._page(("unit", name, look), site, health, now_s, title, look, only_main, make)

    def _page(
        self,
        page: tuple[object, ...],
        site: SiteAssessment | None,
        health: AgentHealth,
        now_s: float,
        title: str,
        look: Look,
        only_main: bool,
        make: Callable[[], str],
    ) -> str:
        sheet = self._cache.sheet(page, (site, health, now_s // KEEP_SHEET_S), make)
        if only_main:
            return sheet
        return self._templates.get_template("frame.html").render(
            sheet=Markup(sheet),  # noqa: S704 - made by the template of the sheet, which escapes
            style=Markup(self._style),  # noqa: S704 - our own file, never text from outside
            script=Markup(self._script),  # noqa: S704 - as above
            reload_s=RELOAD_S,
            title=title,
            look=look,
        )

    def _sheet(
        self,
        template: str,
        site: SiteAssessment | None,
        health: AgentHealth,
        now_s: float,
        title: str,
        look: Look,
        **parts: object,
    ) -> str:
        timezone = "UTC" if site is None else site.timezone
        return self._templates.get_template(template).render(
            build=self._build,
            title=title,
            look=look,
            site_name="portdraw" if site is None else plain(site.site),
            timezone=plain(timezone),
            emulated=_is_emulated(site, health),
            as_of=clock(now_s, timezone),
            started=clock(health.started_s, timezone, now_s),
            date=clock(now_s, timezone, 0.0)[:10],
            late=late_words(site, health, timezone, now_s),
            health=health,
            cycle=None if site is None else site.cycle,
            **parts,
        )


def _is_emulated(site: SiteAssessment | None, health: AgentHealth) -> bool:
    """Say whether anything here is of a rehearsal; the agent knows it before there is a first assessment."""
    return health.emulated or (site is not None and site.emulated)


def _title(site: SiteAssessment | None, health: AgentHealth, title: str) -> str:
    return f"EMULATED \N{MIDDLE DOT} {title}" if _is_emulated(site, health) else title


def _unbroken(value: object) -> object:
    """Return a text with each figure tied to its unit; everything else, and text already marked safe, as it is."""
    if isinstance(value, str) and not isinstance(value, Markup):
        return FIGURE_AND_UNIT.sub("\N{NO-BREAK SPACE}", value)
    return value


def _whole(text: str) -> Markup:
    """Return a text whose hyphenated names are kept on one line, each with its figures tied to their units."""
    words = FIGURE_AND_UNIT.sub("\N{NO-BREAK SPACE}", text).split(" ")
    return Markup(" ").join(
        Markup('<span class="whole">{}</span>').format(word)
        if "-" in word and len(word) <= LONGEST_WHOLE
        else escape(word)
        for word in words
    )
