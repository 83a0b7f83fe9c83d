package scan

import (
	"context"
	"log/slog"
	"regexp"
	"strings"
	"testing"
	"time"

	"cruet/internal/store"
	"cruet/internal/store/bulk"
	"cruet/internal/web"
)

// crowded is a station with 1,000 jars on its shelf, measured ten times each.
func crowded(t *testing.T) *station {
	t.Helper()
	dir := t.TempDir()
	if _, err := bulk.Fill(context.Background(), dir, bulk.Size{Entries: 10_000, Jars: 1000, Live: 1000}, time.Now()); err != nil {
		t.Fatal(err)
	}
	db, err := store.Open(context.Background(), dir, store.Options{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { db.Close() })
	s := &station{t: t, db: db, engine: web.NewEngine(web.Options{Log: slog.New(slog.DiscardHandler)})}
	(&Pages{DB: db, Address: "192.168.1.20:8080", Demo: true}).Register(s.engine) // a demo asks no phone to be paired
	return s
}

// TestShelfBudget holds the weight of the shelf with 1,000 jars, of which a page shows
// 100: at most 100 kB, and 20 kB compressed with all that it asks for, in 6 requests
// and the one for a demo's banner. The jars of a real kitchen differ more than these,
// so there is a margin.
func TestShelfBudget(t *testing.T) {
	s := crowded(t)
	for _, path := range []string{"/shelf", "/shelf?page=5"} {
		page := s.get(path).wants(200)
		if n := strings.Count(page.Body.String(), `class="jarrow"`); n != shelfPage {
			t.Fatalf("%s shows %d jars, want %d", path, n, shelfPage)
		}
		// All that a browser would ask for by itself.
		asked := regexp.MustCompile(`(?:src|srcset|<link[^>]* href)="([^"]+)"`).FindAllStringSubmatch(page.Body.String(), -1)
		total := compressed(page.Body.Bytes())
		for _, m := range asked {
			if !strings.HasPrefix(m[1], "/static/") {
				t.Errorf("%s asks for %s", path, m[1])
				continue
			}
			total += compressed(s.get(m[1]).wants(200).Body.Bytes())
		}
		t.Logf("%s: %d bytes, %d compressed with all it needs, %d requests", path, page.Body.Len(), total, 1+len(asked))
		if n := page.Body.Len(); n > 100_000 {
			t.Errorf("%s has %d bytes, at most 100000", path, n)
		}
		if total > 20_000 {
			t.Errorf("%s takes %d bytes compressed, at most 20000", path, total)
		}
		if n := 1 + len(asked); n < 3 || n > 7 {
			t.Errorf("%s takes %d requests, want 3 to 7", path, n)
		}
	}
}
