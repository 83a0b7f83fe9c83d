-- Who may write: paired phones and programs, each by a token of which only the
-- SHA-256 is kept.
CREATE TABLE phone (
    id         INTEGER PRIMARY KEY AUTOINCREMENT,
    name       TEXT NOT NULL,
    program    INTEGER NOT NULL CHECK (program IN (0, 1)),
    token      BLOB NOT NULL UNIQUE CHECK (length(token) = 32),
    paired_ms  INTEGER NOT NULL,
    seen_ms    INTEGER NOT NULL, -- to the hour
    wrote_ms   INTEGER NOT NULL, -- the last writing, or saying of the passphrase, to the hour
    removed_ms INTEGER           -- set once
) STRICT;

-- Codes to pair by, as SHA-256. A used one stays until its time is over, so that
-- a phone which lost the answer may send the same again.
CREATE TABLE pairing (
    code     BLOB PRIMARY KEY CHECK (length(code) = 32),
    by       TEXT NOT NULL,
    until_ms INTEGER NOT NULL,
    key      BLOB,
    phone    INTEGER REFERENCES phone
) STRICT, WITHOUT ROWID;
