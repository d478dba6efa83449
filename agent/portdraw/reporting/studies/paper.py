"""The frame of every paper of a study: head, style, cautions and signatures around what the study found.

A paper is one HTML file that fetches nothing, made to be printed on A4. A study's own page extends `paper.html` and
fills its blocks `said` and `body`.
"""

from __future__ import annotations

import hashlib
import os
import tempfile
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup

from portdraw.reporting.plain_text import plain
from portdraw.reporting.studies.cautions import CAUTIONS
from portdraw.reporting.wording import figure, limit, watts, zone

FOLDER = Path(__file__).parent / "pages"
AUDIT_FOLDER = Path(__file__).parent.parent / "audit" / "pages"
GENERATOR = '<meta name="generator" content="portdraw">'
_HEAD_BYTES = 4096


class PaperError(Exception):
    """A paper could not be written; the text is one sentence."""


@dataclass(frozen=True)
class PaperHead:
    """What stands at the head of a paper: which site, from which file, made when and by which version.

    `file_sha256` is of the site file's bytes, so that a paper can be held against the file that it was made from.
    """

    site: str
    file_name: str
    file_sha256: str
    made_s: float
    timezone: str
    version: str

    @property
    def made(self) -> str:
        """When it was made, by the site's own clock."""
        moment = datetime.fromtimestamp(self.made_s, zone(self.timezone))
        return f"{moment:%Y-%m-%d %H:%M} ({self.timezone})"


def paper_head(site: str, file: Path, made_s: float, timezone: str, version: str) -> PaperHead:
    """Return the head of a paper of a site file. Raises PaperError where the file can't be read."""
    try:
        sha256 = hashlib.sha256(file.read_bytes()).hexdigest()
    except OSError as error:
        raise PaperError(f"{file}: can't be read: {error.strerror or error}") from None
    return PaperHead(site, file.name, sha256, made_s, timezone, version)


def paper_html(template: str, head: PaperHead, title: str, **context: object) -> str:
    """Return a paper as HTML."""
    templates = Environment(
        loader=FileSystemLoader([FOLDER, AUDIT_FOLDER]),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    templates.filters.update(plain=plain, w=figure, watts=watts, limit=limit)
    style = "".join(path.read_text(encoding="utf-8") for path in (AUDIT_FOLDER / "audit.css", FOLDER / "paper.css"))
    return templates.get_template(template).render(
        head=head,
        title=title,
        style=Markup(style),  # noqa: S704 - our own files
        cautions=CAUTIONS,
        **context,
    )


def write_paper(text: str, file: Path) -> None:
    """Write a paper, over an older one of its kind, never over any other file. Raises PaperError."""
    try:
        if file.is_symlink() or file.exists():
            if not file.is_file():
                raise PaperError(f"{file}: is no file; a paper is not written there")
            with file.open("rb") as there:
                if GENERATOR.encode() not in there.read(_HEAD_BYTES):
                    raise PaperError(f"{file}: is there already and is no paper of portdraw; it is left as it is")
        handle, name = tempfile.mkstemp(prefix=".portdraw-", dir=file.parent)
        try:
            with os.fdopen(handle, "w", encoding="utf-8", newline="") as paper:
                paper.write(text)
            made = Path(name)
            made.chmod(0o644)
            made.replace(file)
        except OSError:
            Path(name).unlink(missing_ok=True)
            raise
    except OSError as error:
        raise PaperError(f"{file}: can't be written: {error.strerror or error}") from None
