"""Why the history file can't be used, in words. Codes: https://www.sqlite.org/rescode.html, primary codes."""

REASONS = {
    3: "permission is missing",  # SQLITE_PERM
    5: "another program holds it locked",  # SQLITE_BUSY
    6: "another program holds it locked",  # SQLITE_LOCKED
    8: "it is read-only",  # SQLITE_READONLY
    10: "the disk reports an error, or a quota is reached",  # SQLITE_IOERR
    11: "it is damaged; move it away and restore a copy",  # SQLITE_CORRUPT
    13: "the disk is full",  # SQLITE_FULL
    14: "it can't be opened (permission, or a file in the way)",  # SQLITE_CANTOPEN
    26: "it is no database; move it away or choose another folder",  # SQLITE_NOTADB
}


def reason_of(error: Exception) -> str:
    """Return why a database error happened; an extended code is its primary code in the low byte."""
    code = getattr(error, "sqlite_errorcode", None)
    known = REASONS.get(code & 0xFF) if isinstance(code, int) else None
    return known or str(error)
