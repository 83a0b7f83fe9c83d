-- Which photos belong to which jar, derived from the entries, to find a photo by
-- its file and the one before or after it.
CREATE TABLE photo (
    entry        INTEGER PRIMARY KEY REFERENCES entry (seq),
    jar          TEXT NOT NULL REFERENCES jar,
    happened_ms  INTEGER NOT NULL,
    sha256       TEXT NOT NULL,
    thumb_sha256 TEXT NOT NULL
) STRICT;
CREATE INDEX photo_jar ON photo (jar, happened_ms, entry);
CREATE INDEX photo_file ON photo (sha256);
CREATE INDEX photo_thumb ON photo (thumb_sha256);
