"""Is the file in our place one of ours? Looked at byte by byte, without opening it as a database.

A database engine that opens a foreign file may write to it (a checkpoint, a roll-back), so a file that is
not ours is refused before that.
"""

from __future__ import annotations

from pathlib import Path

APPLICATION_ID = 0x70647277  # "pdrw", our mark in the header
EMULATED_ID = 0x70647265  # "pdre", the mark of an emulated site's history
FORMAT = 1
_MAGIC = b"SQLite format 3\x00"  # https://www.sqlite.org/fileformat.html, section 1.3


def marked_emulated(path: Path) -> bool:
    """Say whether a file carries the mark of an emulated site; False also where it is none of ours."""
    try:
        with path.open("rb") as file:
            return int.from_bytes(file.read(100)[68:72], "big") == EMULATED_ID
    except OSError:
        return False


def refusal(path: Path, emulated: bool) -> str | None:
    """Return one sentence why the file can't be our history, None where it can, or where there is none yet.

    Offsets of user version (60) and application id (68) are from the file format page, section 1.3.
    Raises OSError where the file can't be read.
    """
    if not path.exists() and not path.is_symlink():
        if path.with_name(path.name + "-wal").exists():
            return f"{path} is missing but {path.name}-wal is there; put it back, or move the other away"
        return None
    if not path.is_file():
        return f"{path} is not a file"
    with path.open("rb") as file:
        head = file.read(100)
    if not head:
        return None  # created and left before the first write
    if not head.startswith(_MAGIC) or len(head) < 100:
        return f"{path} is not a history file (it is no database); move it away or choose another folder"
    mark = int.from_bytes(head[68:72], "big")
    if mark not in (APPLICATION_ID, EMULATED_ID):
        return f"{path} is the database of another program; move it away or choose another folder"
    if emulated and mark == APPLICATION_ID:
        return f"{path} is the history of a real site; an emulated site needs a folder of its own"
    if not emulated and mark == EMULATED_ID:
        return f"{path} is marked EMULATED; a real site needs a folder of its own"
    found = int.from_bytes(head[60:64], "big")
    if found > FORMAT:
        return f"{path} has format {found}, newer than this version reads (up to {FORMAT}); use a newer portdraw"
    return None
