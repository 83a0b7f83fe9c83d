package scan

import (
	"context"
	"flag"
	"io"
	"log/slog"
	"net"
	"net/http"
	"net/http/httptest"
	"slices"
	"testing"
	"time"

	"github.com/gin-gonic/gin"

	"cruet/internal/larder"
	"cruet/internal/store"
	"cruet/internal/store/bulk"
	"cruet/internal/web"
)

var manyEntries = flag.Int("entries", 1_000_000, "how many entries the benchmark's kitchen of many years has")

// served is a station on a port of this machine, and a phone that keeps its
// connection.
type servedKitchen struct {
	pages *Pages
	url   string
	jar   larder.Tag
	phone *http.Client
}

func listen(b *testing.B, h http.Handler) string {
	b.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		b.Fatal(err)
	}
	server := web.Server(h)
	go server.Serve(l)
	b.Cleanup(func() { server.Close() })
	return "http://" + l.Addr().String()
}

func serveBulk(b *testing.B, size bulk.Size) servedKitchen {
	b.Helper()
	dir := b.TempDir()
	live, err := bulk.Fill(context.Background(), dir, size, time.Now())
	if err != nil {
		b.Fatal(err)
	}
	db, err := store.Open(context.Background(), dir, store.Options{})
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { db.Close() })
	engine := web.NewEngine(web.Options{Log: slog.New(slog.DiscardHandler)})
	pages := &Pages{DB: db, Address: "192.168.1.20:8080", Demo: true} // a demo asks no phone to be paired
	pages.Register(engine)
	return servedKitchen{pages, listen(b, engine), live[0], &http.Client{}}
}

// get is a page as a phone gets it: compressed.
func (k servedKitchen) get(b *testing.B, path string) []byte {
	req, err := http.NewRequest("GET", k.url+path, nil)
	if err != nil {
		b.Fatal(err)
	}
	req.Header.Set("Accept-Encoding", "gzip")
	res, err := k.phone.Do(req)
	if err != nil {
		b.Fatal(err)
	}
	defer res.Body.Close()
	body, err := io.ReadAll(res.Body)
	if err != nil || res.StatusCode != 200 || res.Header.Get("Content-Encoding") != "gzip" {
		b.Fatalf("%s: %d, %v", path, res.StatusCode, err)
	}
	return body
}

// ratio measures two ways by turns and reports the median of how many times longer
// the first takes.
func ratio(b *testing.B, name string, one, other func()) {
	b.Helper()
	const rounds, each = 21, 40
	ratios := make([]float64, rounds)
	took := func(do func()) float64 {
		begun := time.Now()
		for range each {
			do()
		}
		return float64(time.Since(begun))
	}
	for i := range rounds {
		ratios[i] = took(one) / took(other)
	}
	slices.Sort(ratios)
	b.ReportMetric(ratios[rounds/2], name)
}

// BenchmarkSpeedPages compares the pages of a kitchen of many years with those of
// one of a thousand entries and the same shelf, and the jar's page with the same
// bytes served from memory; as ratios of one run, since the times are the
// machine's:
//
//	go test ./scan -run XXX -bench SpeedPages -benchtime 1x
func BenchmarkSpeedPages(b *testing.B) {
	small := serveBulk(b, bulk.Size{Entries: 1000, Jars: 10, Live: 10})
	old := serveBulk(b, bulk.Size{Entries: *manyEntries, Jars: max(20, *manyEntries/100), Live: 10, Bottles: *manyEntries / 10})
	// A page with a query is made afresh each time; the others are kept.
	for name, path := range map[string]func(servedKitchen) string{
		"jar":          func(k servedKitchen) string { return "/J/" + string(k.jar) },
		"today":        func(servedKitchen) string { return "/" },
		"jar made":     func(k servedKitchen) string { return "/J/" + string(k.jar) + "?open=reading" },
		"today made":   func(servedKitchen) string { return "/?made" },
		"history made": func(k servedKitchen) string { return "/J/" + string(k.jar) + "?older=1795000000000.1" },
	} {
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				ratio(b, "of-a-small-kitchen's", func() { old.get(b, path(old)) }, func() { small.get(b, path(small)) })
			}
		})
	}
	b.Run("memory", func(b *testing.B) {
		path := "/J/" + string(old.jar)
		page := old.get(b, path)
		memory := servedKitchen{phone: &http.Client{}, url: listen(b, http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
			w.Header().Set("Content-Encoding", "gzip")
			w.Header().Set("Content-Type", "text/html; charset=utf-8")
			w.Write(page)
		}))}
		for b.Loop() {
			ratio(b, "x-requests-of-memory", func() { memory.get(b, path) }, func() { old.get(b, path) })
			ratio(b, "x-requests-of-memory-made", func() { memory.get(b, path) }, func() { old.get(b, path+"?open=reading") })
		}
		b.ReportMetric(float64(len(page)), "bytes")
	})
	// Lists are read in pages: a full one of a long list takes no longer than one of
	// a list that has just one more.
	some := serveBulk(b, bulk.Size{Entries: 10_000, Jars: 520, Live: 10, Bottles: 520})
	for _, name := range []string{"shelf", "lots", "gifts"} {
		path := "/" + name + "?made"
		b.Run(name+" made", func(b *testing.B) {
			for b.Loop() {
				ratio(b, "of-a-small-kitchen's", func() { old.get(b, path) }, func() { some.get(b, path) })
			}
		})
	}
	b.Run("parts", func(b *testing.B) {
		for b.Loop() {
			old.parts(b)
		}
	})
}

// parts tells which part of the making of a jar's page, without the network, each
// step has, in percent: reading the records, reckoning and wording them, writing them
// through the template, and compressing.
func (k servedKitchen) parts(b *testing.B) {
	const each = 50
	ctx, check := context.Background(), func(err error) {
		if err != nil {
			b.Fatal(err)
		}
	}
	timed := func(do func(*gin.Context)) float64 {
		begun := time.Now()
		for range each {
			c, _ := gin.CreateTestContext(httptest.NewRecorder())
			c.Request = httptest.NewRequest("GET", "/J/"+string(k.jar)+"?open=reading", nil)
			do(c)
		}
		return float64(time.Since(begun))
	}
	var rounds [3][]float64
	for range 9 {
		read := timed(func(*gin.Context) {
			db := k.pages.DB
			_, err := db.TagKind(ctx, k.jar)
			check(err)
			page, err := db.History(ctx, k.jar, store.Cursor{}, historyPage)
			check(err)
			_, err = db.Measurements(ctx, k.jar)
			check(err)
			_, err = db.LiquidOfBatch(ctx, page.Batch.ID)
			check(err)
			_, err = db.Kitchen(ctx)
			check(err)
		})
		made := timed(func(c *gin.Context) {
			_, _, err := k.pages.jarPage(c, k.jar, nil, nil)
			check(err)
		})
		written := timed(func(c *gin.Context) {
			v, f, err := k.pages.jarPage(c, k.jar, nil, nil)
			check(err)
			check(render(c, http.StatusOK, "jar", f, v))
		})
		packed := timed(func(c *gin.Context) {
			c.Request.Header.Set("Accept-Encoding", "gzip")
			v, f, err := k.pages.jarPage(c, k.jar, nil, nil)
			check(err)
			check(render(c, http.StatusOK, "jar", f, v))
		})
		for i, part := range []float64{read, made, written} {
			rounds[i] = append(rounds[i], 100*part/packed)
		}
	}
	for i := range rounds {
		slices.Sort(rounds[i])
	}
	read, made, written := rounds[0][4], rounds[1][4], rounds[2][4]
	b.ReportMetric(read, "%-read")
	b.ReportMetric(made-read, "%-worded")
	b.ReportMetric(written-made, "%-template")
	b.ReportMetric(100-written, "%-packed")
}
