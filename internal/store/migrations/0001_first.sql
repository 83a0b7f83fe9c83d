-- Times are UTC milliseconds since 1970. Volumes are mL. Bodies, states and
-- lists are JSON in the form of package larder. Tags are never deleted, so that
-- none is issued twice.

CREATE TABLE setting (
    name  TEXT PRIMARY KEY,
    value TEXT NOT NULL
) STRICT, WITHOUT ROWID;

-- One row for each act that was answered: the same key again changes nothing.
CREATE TABLE act (
    key         BLOB PRIMARY KEY CHECK (length(key) = 16),
    kind        TEXT NOT NULL,
    fingerprint BLOB NOT NULL,
    ref         TEXT NOT NULL,
    by          TEXT NOT NULL,
    recorded_ms INTEGER NOT NULL
) STRICT, WITHOUT ROWID;

CREATE TABLE tag (
    tag       TEXT PRIMARY KEY,
    kind      TEXT NOT NULL CHECK (kind IN ('jar', 'bottle', 'spare')),
    issued_ms INTEGER NOT NULL
) STRICT, WITHOUT ROWID;

CREATE TABLE batch (
    id                    INTEGER PRIMARY KEY,
    name                  TEXT NOT NULL,
    base                  TEXT NOT NULL,
    ingredients           TEXT NOT NULL,
    happened_ms           INTEGER NOT NULL,
    precision             TEXT NOT NULL CHECK (precision IN ('exact', 'day', 'about')),
    spread_days           INTEGER NOT NULL,
    target_g_per_100ml    REAL NOT NULL,
    jar_outer_diameter_mm REAL NOT NULL,
    note                  TEXT NOT NULL,
    by                    TEXT NOT NULL,
    recorded_ms           INTEGER NOT NULL
) STRICT;

CREATE TABLE jar (
    tag      TEXT PRIMARY KEY REFERENCES tag,
    batch_id INTEGER NOT NULL REFERENCES batch,
    letter   TEXT NOT NULL,
    size_ml  REAL NOT NULL CHECK (size_ml > 0),
    place    TEXT NOT NULL,
    live     INTEGER NOT NULL CHECK (live IN (0, 1)),
    state    TEXT NOT NULL, -- derived from the jar's entries
    UNIQUE (batch_id, letter)
) STRICT, WITHOUT ROWID;
CREATE INDEX jar_live ON jar (live, batch_id, letter);

CREATE TABLE entry (
    seq         INTEGER PRIMARY KEY AUTOINCREMENT, -- the order of recording
    id          BLOB NOT NULL UNIQUE CHECK (length(id) = 16),
    act         BLOB NOT NULL REFERENCES act DEFERRABLE INITIALLY DEFERRED,
    jar         TEXT NOT NULL REFERENCES jar,
    happened_ms INTEGER NOT NULL,
    precision   TEXT NOT NULL CHECK (precision IN ('exact', 'day', 'about')),
    spread_days INTEGER NOT NULL,
    recorded_ms INTEGER NOT NULL,
    by          TEXT NOT NULL,
    note        TEXT NOT NULL,
    kind        TEXT NOT NULL,
    body        TEXT NOT NULL,
    struck_by   BLOB -- the entry that took this one back; the only column ever set later
) STRICT;
CREATE INDEX entry_jar ON entry (jar, happened_ms DESC, seq DESC);
CREATE INDEX entry_act ON entry (act);

CREATE TABLE edge (
    entry       INTEGER PRIMARY KEY REFERENCES entry (seq),
    what        TEXT NOT NULL,
    from_jar    TEXT REFERENCES jar,
    from_name   TEXT NOT NULL,
    to_jar      TEXT REFERENCES jar,
    to_lot      TEXT,
    volume_ml   REAL,
    mother      INTEGER NOT NULL CHECK (mother IN (0, 1)),
    happened_ms INTEGER NOT NULL,
    struck      INTEGER NOT NULL DEFAULT 0 CHECK (struck IN (0, 1))
) STRICT;
CREATE INDEX edge_from ON edge (from_jar, happened_ms) WHERE from_jar IS NOT NULL;
CREATE INDEX edge_to_jar ON edge (to_jar, happened_ms) WHERE to_jar IS NOT NULL;
CREATE INDEX edge_to_lot ON edge (to_lot) WHERE to_lot IS NOT NULL;

CREATE TABLE lot (
    id          TEXT PRIMARY KEY,
    act         BLOB NOT NULL REFERENCES act DEFERRABLE INITIALLY DEFERRED,
    name        TEXT NOT NULL,
    happened_ms INTEGER NOT NULL,
    void        INTEGER NOT NULL DEFAULT 0 CHECK (void IN (0, 1)),
    body        TEXT NOT NULL
) STRICT, WITHOUT ROWID;
CREATE INDEX lot_act ON lot (act);
CREATE INDEX lot_time ON lot (happened_ms);

CREATE TABLE bottle (
    tag     TEXT PRIMARY KEY REFERENCES tag,
    lot     TEXT NOT NULL REFERENCES lot,
    number  INTEGER NOT NULL,
    size_ml REAL NOT NULL CHECK (size_ml > 0),
    UNIQUE (lot, number)
) STRICT, WITHOUT ROWID;

CREATE TABLE gift (
    bottle      TEXT PRIMARY KEY REFERENCES bottle,
    act         BLOB NOT NULL REFERENCES act DEFERRABLE INITIALLY DEFERRED,
    to_whom     TEXT NOT NULL,
    happened_ms INTEGER NOT NULL,
    precision   TEXT NOT NULL CHECK (precision IN ('exact', 'day', 'about')),
    spread_days INTEGER NOT NULL,
    note        TEXT NOT NULL,
    by          TEXT NOT NULL,
    recorded_ms INTEGER NOT NULL
) STRICT, WITHOUT ROWID;

-- The bench: calibrations of meters, checks of the base, control samples.
CREATE TABLE bench (
    seq         INTEGER PRIMARY KEY AUTOINCREMENT,
    id          BLOB NOT NULL UNIQUE CHECK (length(id) = 16),
    kind        TEXT NOT NULL CHECK (kind IN ('calibration', 'base', 'control')),
    name        TEXT NOT NULL, -- of the meter or the base
    happened_ms INTEGER NOT NULL,
    precision   TEXT NOT NULL CHECK (precision IN ('exact', 'day', 'about')),
    spread_days INTEGER NOT NULL,
    recorded_ms INTEGER NOT NULL,
    by          TEXT NOT NULL,
    note        TEXT NOT NULL,
    body        TEXT NOT NULL,
    struck_by   BLOB -- the act that took this one back; the only column ever set later
) STRICT;
CREATE INDEX bench_newest ON bench (kind, name, happened_ms DESC, seq DESC);
