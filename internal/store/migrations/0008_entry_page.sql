-- A page reads a jar's newest entries, whole. With all columns in the index they
-- lie together, and no entry is looked up one by one among those of other jars.
DROP INDEX entry_jar;
CREATE INDEX entry_jar ON entry (jar, happened_ms DESC, seq DESC,
    id, act, precision, spread_days, recorded_ms, by, note, kind, body, struck_by);
-- How a jar was filled is its first change of stage.
CREATE INDEX entry_stage ON entry (jar, seq) WHERE kind = 'stage';
-- What else a page or an act looks for by more than a key.
CREATE INDEX tag_spare ON tag (issued_ms, tag) WHERE kind = 'spare';
CREATE INDEX batch_name ON batch (name COLLATE NOCASE);
