-- Each label that was made: when, on what, and for which address.
CREATE TABLE print (
    seq        INTEGER PRIMARY KEY AUTOINCREMENT,
    tag        TEXT NOT NULL REFERENCES tag,
    address    TEXT NOT NULL,
    stock      TEXT NOT NULL,
    layout     TEXT NOT NULL,
    printed_ms INTEGER NOT NULL,
    by         TEXT NOT NULL
) STRICT;
CREATE INDEX print_tag ON print (tag, seq);
