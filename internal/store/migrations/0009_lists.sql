-- What lists show of a jar, derived with its state. The live jars' lie together in
-- the order of the shelf, with all that a list reads, so that a page of many jars
-- reads no whole states and looks no jar up.
ALTER TABLE jar ADD COLUMN listed TEXT NOT NULL DEFAULT '';
DROP INDEX jar_live;
CREATE INDEX jar_shelf ON jar (batch_id DESC, length(letter), letter, size_ml, place, listed) WHERE live = 1;
-- What is read of an entry beside its keys is one text in the index of a jar's
-- entries, and an act is there only where it is not the entry's own: to hand out a
-- value costs more than to find it. The words are those of the store's entrySQL, and
-- only such that the sqlite3 of older systems knows, which reads this file too. The
-- newest entry comes last, where a page of an index has room for more.
DROP INDEX entry_jar;
CREATE INDEX entry_jar ON entry (jar, happened_ms, seq, kind, struck_by, id, nullif(act, id),
    kind || ' ' || precision || ' ' || spread_days || ' ' || recorded_ms || ' ' || length(CAST(by AS BLOB)) || ' ' || length(CAST(note AS BLOB)) || ' ' || by || note || body);
-- Most acts write one entry, under their own key.
DROP INDEX entry_act;
CREATE INDEX entry_act ON entry (act) WHERE act <> id;
-- Lists of gifts are read in pages: of one person, and of those taken back.
CREATE INDEX gift_whom ON gift (to_whom, happened_ms, seq);
CREATE INDEX gift_back ON gift (happened_ms, seq) WHERE back_act IS NOT NULL;
