"""What the tests of papers share: a head, a parser that finds tags that act, and a site with hostile texts."""

from __future__ import annotations

from html.parser import HTMLParser

from portdraw.reporting.studies.paper import PaperHead

HEAD = PaperHead("Skarholm slipway", "site.yaml", "ab" * 32, 1_800_000_000.0, "Atlantic/Faroe", "0.0")
HOSTILE = "<script>alert(1)</script>"
VOID = {"meta", "br", "img", "hr"}


class Page(HTMLParser):
    """Collects the text of a page, its tags, and whether every tag is closed."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.text = ""
        self.tags: list[str] = []
        self.attributes: list[tuple[str, str | None]] = []
        self._open: list[str] = []
        self.closed = True
        self.feed(page)
        self.closed = self.closed and not self._open

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.attributes.extend(attrs)
        if tag not in VOID:
            self._open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.attributes.extend(attrs)

    def handle_endtag(self, tag: str) -> None:
        self.closed = self.closed and bool(self._open) and self._open.pop() == tag

    def handle_data(self, data: str) -> None:
        if "style" not in self._open:
            self.text += f" {data}"

    @property
    def words(self) -> str:
        """The text with single blanks."""
        return " ".join(self.text.split())

    @property
    def inert(self) -> bool:
        """Whether the page runs nothing and fetches nothing."""
        acts = any(name.startswith("on") or name in ("src", "href", "action") for name, _ in self.attributes)
        return not acts and not {"script", "iframe", "object", "link", "img", "form"} & set(self.tags)
