-- Tracing follows time, and vague dates are read so that nothing is missed: what
-- came in no later than early_ms may have gone out again until late_ms.
ALTER TABLE edge ADD COLUMN early_ms INTEGER NOT NULL DEFAULT 0;
ALTER TABLE edge ADD COLUMN late_ms INTEGER NOT NULL DEFAULT 0;
UPDATE edge SET
    early_ms = happened_ms - (SELECT iif(precision = 'exact', 0, 43200000) + iif(precision = 'about', spread_days * 86400000, 0) FROM entry WHERE seq = edge.entry),
    late_ms  = happened_ms + (SELECT iif(precision = 'exact', 0, 43200000) + iif(precision = 'about', spread_days * 86400000, 0) FROM entry WHERE seq = edge.entry);
CREATE INDEX edge_in ON edge (to_jar, early_ms, entry) WHERE to_jar IS NOT NULL AND NOT struck;
CREATE INDEX edge_out ON edge (from_jar, late_ms, entry) WHERE from_jar IS NOT NULL AND NOT struck;
CREATE INDEX edge_name ON edge (from_name COLLATE NOCASE) WHERE from_name <> '' AND NOT struck;

-- The reason of the hold that stands on a jar or lot, derived; empty when none.
ALTER TABLE jar ADD COLUMN hold TEXT NOT NULL DEFAULT '';
UPDATE jar SET hold = coalesce(json_extract(state, '$.hold'), '');
CREATE INDEX jar_hold ON jar (tag) WHERE hold <> '';
ALTER TABLE lot ADD COLUMN hold TEXT NOT NULL DEFAULT '';

CREATE TABLE lot_log (
    seq         INTEGER PRIMARY KEY AUTOINCREMENT,
    act         BLOB NOT NULL UNIQUE REFERENCES act DEFERRABLE INITIALLY DEFERRED,
    lot         TEXT NOT NULL REFERENCES lot,
    "on"        INTEGER NOT NULL CHECK ("on" IN (0, 1)),
    reason      TEXT NOT NULL,
    happened_ms INTEGER NOT NULL,
    precision   TEXT NOT NULL CHECK (precision IN ('exact', 'day', 'about')),
    spread_days INTEGER NOT NULL,
    note        TEXT NOT NULL,
    by          TEXT NOT NULL,
    recorded_ms INTEGER NOT NULL
) STRICT;
CREATE INDEX lot_log_lot ON lot_log (lot, seq);

-- Each change of the volume in a jar, derived from its log; for one jar they add
-- up to what it holds.
CREATE TABLE flow (
    entry       INTEGER NOT NULL REFERENCES entry (seq),
    kind        TEXT NOT NULL,
    jar         TEXT NOT NULL REFERENCES jar,
    happened_ms INTEGER NOT NULL,
    ml          REAL NOT NULL,
    PRIMARY KEY (entry, kind)
) STRICT, WITHOUT ROWID;
CREATE INDEX flow_jar ON flow (jar, happened_ms, kind, ml);

-- The names of each recipe, to find the batches that something went into.
CREATE TABLE recipe (
    name     TEXT NOT NULL COLLATE NOCASE,
    batch_id INTEGER NOT NULL REFERENCES batch,
    PRIMARY KEY (name, batch_id)
) STRICT, WITHOUT ROWID;
INSERT OR IGNORE INTO recipe (name, batch_id)
    SELECT json_extract(line.value, '$.name'), batch.id FROM batch, json_each(batch.ingredients) line;

-- A gift that was recorded by mistake is taken back and stays readable; then the
-- bottle may be given again.
ALTER TABLE gift RENAME TO gift_once;
CREATE TABLE gift (
    seq         INTEGER PRIMARY KEY AUTOINCREMENT,
    bottle      TEXT NOT NULL REFERENCES bottle,
    lot         TEXT NOT NULL REFERENCES lot, -- the bottle's, so that a lot's gifts lie together
    act         BLOB NOT NULL REFERENCES act DEFERRABLE INITIALLY DEFERRED,
    to_whom     TEXT NOT NULL,
    happened_ms INTEGER NOT NULL,
    precision   TEXT NOT NULL CHECK (precision IN ('exact', 'day', 'about')),
    spread_days INTEGER NOT NULL,
    note        TEXT NOT NULL,
    by          TEXT NOT NULL,
    recorded_ms INTEGER NOT NULL,
    back_act    BLOB REFERENCES act DEFERRABLE INITIALLY DEFERRED, -- the act that took it back; set once
    back_reason TEXT NOT NULL DEFAULT '',
    back_by     TEXT NOT NULL DEFAULT '',
    back_ms     INTEGER NOT NULL DEFAULT 0
) STRICT;
INSERT INTO gift (bottle, lot, act, to_whom, happened_ms, precision, spread_days, note, by, recorded_ms)
    SELECT bottle, coalesce(lot, ''), act, to_whom, happened_ms, precision, spread_days, note, by, recorded_ms
    FROM gift_once LEFT JOIN bottle ON bottle.tag = gift_once.bottle ORDER BY recorded_ms, bottle;
DROP TABLE gift_once;
CREATE UNIQUE INDEX gift_standing ON gift (bottle) WHERE back_act IS NULL;
CREATE INDEX gift_bottle ON gift (bottle, seq);
CREATE INDEX gift_time ON gift (happened_ms, seq);
CREATE INDEX gift_lot ON gift (lot) WHERE back_act IS NULL;
CREATE INDEX bottle_lot ON bottle (lot, number, size_ml);
