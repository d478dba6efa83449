"""How commands end: exit codes, and the errors that are told as plain sentences."""

from __future__ import annotations

import sys

from portdraw.datafiles.locate import DataFolderMissingError
from portdraw.history.store import HistoryError
from portdraw.plan.plan_error import PlanError
from portdraw.reporting.audit.audit_files import AuditFileError
from portdraw.service.settings import SettingsError

FINE, FINDINGS, WRONG_INPUT, COULD_NOT_READ = 0, 1, 2, 3

KnownErrors = (PlanError, SettingsError, HistoryError, DataFolderMissingError, AuditFileError)


def tell(text: str) -> None:
    """Write a sentence to standard error."""
    print(text, file=sys.stderr)
