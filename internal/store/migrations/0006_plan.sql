-- What the maker changed of the plans, by kind of batch; what is as usual has no
-- row, so that a better usual plan reaches every kitchen.
CREATE TABLE plan (
    kind       TEXT NOT NULL,
    step       TEXT NOT NULL,
    first_day  INTEGER NOT NULL,
    last_day   INTEGER NOT NULL,
    every_days INTEGER NOT NULL,
    off        INTEGER NOT NULL CHECK (off IN (0, 1)),
    PRIMARY KEY (kind, step)
) STRICT, WITHOUT ROWID;

-- A measuring round: the jars in the order of the shelf as it stood when it began,
-- and what became of each. The measurements themselves are the jars' entries.
CREATE TABLE round (
    id         BLOB PRIMARY KEY CHECK (length(id) = 16),
    started_ms INTEGER NOT NULL,
    ended_ms   INTEGER NOT NULL DEFAULT 0, -- 0: still going on
    by         TEXT NOT NULL
) STRICT, WITHOUT ROWID;
CREATE INDEX round_time ON round (started_ms);
CREATE TABLE round_jar (
    round    BLOB NOT NULL REFERENCES round,
    place    INTEGER NOT NULL,
    jar      TEXT NOT NULL REFERENCES jar,
    act      BLOB, -- the act that measured it; null: not measured
    skipped  INTEGER NOT NULL DEFAULT 0 CHECK (skipped IN (0, 1)),
    PRIMARY KEY (round, place),
    UNIQUE (round, jar)
) STRICT, WITHOUT ROWID;
