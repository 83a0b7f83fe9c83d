-- What lists show of a jar, derived with its state. The live jars' lie together in
-- the order of the shelf, with all that a list reads, so that a page of many jars
-- reads no whole states and looks no jar up.
ALTER TABLE jar ADD COLUMN listed TEXT NOT NULL DEFAULT '';
DROP INDEX jar_live;
CREATE INDEX jar_shelf ON jar (batch_id DESC, length(letter), letter, size_ml, place, listed) WHERE live = 1;
