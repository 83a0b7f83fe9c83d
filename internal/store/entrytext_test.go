package store

import (
	"strings"
	"testing"

	"github.com/google/uuid"

	"cruet/internal/larder"
)

// Whatever a maker wrote comes back as it was, by every way to read an entry, and
// an entry whose text is not the store's is refused.
func TestEntryTextComesBackWhole(t *testing.T) {
	db, clock := kitchen(t)
	tag := start(t, db, damson()).Jars[0].Tag
	for i, text := range []string{"", " ", "3 4 5", "ü\n", "a\x00b c", strings.Repeat("nine words ", 3000), "日本 酢"} {
		e := larder.Entry{ID: uuid.New(), By: text, Note: " " + text, When: larder.When{At: clock.daysAgo(i).At, Precision: larder.About, SpreadDays: i}}
		e.Act = e.ID
		if i%2 == 0 { // what its act wrote into another jar
			e.Act = uuid.New()
		}
		raw := []any{e.ID[:], e.Act[:], tag, e.When.At.UnixMilli(), i, e.When.At.UnixMilli() + 1, e.By, e.Note}
		if _, err := db.write.Exec(`PRAGMA foreign_keys = OFF`); err != nil {
			t.Fatal(err)
		}
		if _, err := db.write.Exec(`INSERT INTO entry (id, act, jar, happened_ms, precision, spread_days, recorded_ms, by, note, kind, body) VALUES (?, ?, ?, ?, 'about', ?, ?, ?, ?, 'note', '{}')`, raw...); err != nil {
			t.Fatal(err)
		}
		one, err := db.Entry(ctx, e.ID)
		if err != nil {
			t.Fatal(err)
		}
		page := history(t, db, tag)
		for _, got := range append(page.Entries, one) {
			if got.ID == e.ID && (got.Act != e.Act || got.By != e.By || got.Note != e.Note || got.When != e.When || got.Kind != larder.KindNote || got.RecordedAt.UnixMilli() != e.When.At.UnixMilli()+1) {
				t.Errorf("%+v came back as %+v", e, got)
			}
		}
		if len(page.Entries) != i+2 {
			t.Errorf("%d entries of %d", len(page.Entries), i+2)
		}
	}
	const good = "note exact 0 1795000000000 2 3 romum{}"
	if err := readText(&larder.Entry{}, 0, good); err != nil {
		t.Error(err)
	}
	for _, bad := range []string{"", "note", "note exact x 1 0 0 {}", "note exact 0 1 9 0 {}", "note exact 0 1 1 2 {}", "note exact 0 1 -1 0 {}", "note exact 0 1 0 9223372036854775807 {}", "nothing exact 0 1 0 0 {}"} {
		if err := readText(&larder.Entry{}, 0, bad); err == nil {
			t.Errorf("%q is taken", bad)
		}
	}
}
