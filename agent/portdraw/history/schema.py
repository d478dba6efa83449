"""The tables of the history file. A change of any of them is a new FORMAT in file_check."""

TABLES = (
    # names of ports, written once; a hot row refers to them
    """CREATE TABLE port_list (number INTEGER PRIMARY KEY, ports TEXT NOT NULL UNIQUE)""",
    # by time first: a cycle is written at one place of the tree, and a day is read in one sweep
    """CREATE TABLE hot (time_ms INTEGER NOT NULL, unit TEXT NOT NULL, body BLOB NOT NULL,
        PRIMARY KEY (time_ms, unit)) WITHOUT ROWID""",
    # spans of time that were compiled, with their first reading; a hot row outside all is still open
    """CREATE TABLE closed_span (start_ms INTEGER PRIMARY KEY, end_ms INTEGER NOT NULL, day TEXT NOT NULL,
        first_ms INTEGER NOT NULL)""",
    # port '' is the unit's total
    """CREATE TABLE port_day (day TEXT NOT NULL, unit TEXT NOT NULL, port TEXT NOT NULL, body BLOB NOT NULL,
        PRIMARY KEY (day, unit, port)) WITHOUT ROWID""",
    """CREATE TABLE event (number INTEGER PRIMARY KEY, time_s REAL NOT NULL, kind TEXT NOT NULL,
        unit TEXT, port TEXT, text TEXT NOT NULL, data TEXT NOT NULL)""",
    """CREATE INDEX event_by_time ON event (time_s)""",
    """CREATE TABLE state (key TEXT PRIMARY KEY, value TEXT NOT NULL) WITHOUT ROWID""",
    """CREATE TABLE outbox (number INTEGER PRIMARY KEY AUTOINCREMENT, receiver TEXT NOT NULL,
        key TEXT NOT NULL, payload TEXT NOT NULL, created_s REAL NOT NULL, due_s REAL NOT NULL,
        attempts INTEGER NOT NULL DEFAULT 0, last_error TEXT, done_s REAL, UNIQUE (receiver, key))""",
    """CREATE INDEX outbox_waiting ON outbox (due_s) WHERE done_s IS NULL""",
)
