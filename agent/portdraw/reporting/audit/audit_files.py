"""The audit on disk: a page, four tables and a document, never over a file that is already there."""

from __future__ import annotations

from pathlib import Path

from portdraw.reporting.audit.audit import Audit
from portdraw.reporting.audit.audit_csv import events_csv, losses_csv, ports_csv, units_csv
from portdraw.reporting.audit.audit_html import audit_html
from portdraw.reporting.audit.audit_json import audit_json

MOST_TRIES = 10_000


class AuditFileError(Exception):
    """An audit could not be written; the text is one sentence."""


def write_audit(audit: Audit, folder: Path, stem: str) -> list[Path]:
    """Write STEM.html, STEM.json, STEM-ports.csv, STEM-units.csv, STEM-losses.csv and STEM-events.csv.

    Returns their paths. Where any of them exists the whole set gets a number, STEM-2.html and so on. Raises
    AuditFileError where the folder can't be written.
    """
    texts = {
        ".html": audit_html(audit),
        "-ports.csv": ports_csv(audit),
        "-units.csv": units_csv(audit),
        "-losses.csv": losses_csv(audit),
        "-events.csv": events_csv(audit),
        ".json": audit_json(audit),
    }
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for number in range(1, MOST_TRIES):
            name = stem if number == 1 else f"{stem}-{number}"
            paths = [folder / f"{name}{ending}" for ending in texts]
            if any(path.exists() or path.is_symlink() for path in paths):
                continue
            for path, text in zip(paths, texts.values(), strict=True):
                # "x": a file that came between the look and the write is not overwritten either
                with path.open("x", encoding="utf-8", newline="") as file:
                    file.write(text)
            return paths
    except OSError as error:
        raise AuditFileError(f"the audit can't be written to {folder}: {error.strerror or error}") from None
    raise AuditFileError(f"the audit can't be written to {folder}: too many audits called {stem} are there already")
