// Package bulk makes a kitchen of many years for benchmarks, in seconds: through
// SQL, since the acts themselves would take hours. What it writes is what the acts
// would have written, and store.Check finds nothing wrong with it. The program
// never imports it.
package bulk

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"math/rand/v2"
	"path/filepath"
	"strings"
	"time"

	"github.com/google/uuid"

	"cruet/internal/chem"
	"cruet/internal/larder"
	"cruet/internal/store"
)

// Size says how much there is. Each jar has its share of the entries, each jar
// that was bottled its share of the bottles.
type Size struct {
	Entries, Jars, Bottles int
	Live                   int // jars that still stand on the shelf; the last ones
}

// jarsOfBatch stand side by side and are measured in turn, so that in the file the
// entries of one lie among those of the others.
const jarsOfBatch = 10

// day is from one entry of a jar that lives to the next.
const day = 24 * time.Hour

// Fill makes a kitchen in dir that was measured last at now, and returns the jars
// that stand on its shelf. The same size gives the same jars at each place of the
// shelf, but for their tags.
func Fill(ctx context.Context, dir string, size Size, now time.Time) (live []larder.Tag, err error) {
	db, err := store.Open(ctx, dir, store.Options{})
	if err != nil {
		return nil, err
	}
	if err := db.Close(); err != nil {
		return nil, err
	}
	// Nobody else has the file, and a crash may ruin it.
	pool, err := sql.Open("sqlite", filepath.Join(dir, store.FileName)+"?_pragma=synchronous(OFF)&_pragma=cache_size(-400000)")
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, pool.Close()) }()
	pool.SetMaxOpenConns(1)
	tx, err := pool.BeginTx(ctx, nil)
	if err != nil {
		return nil, err
	}
	defer tx.Rollback()
	f := &filler{tx: tx, random: rand.New(rand.NewPCG(7, 7)), issued: map[larder.Tag]bool{}, lots: map[string]int{}, stmts: map[string]*sql.Stmt{}}
	batches := (size.Jars + jarsOfBatch - 1) / jarsOfBatch
	for b := range batches {
		jars := min(jarsOfBatch, size.Jars-b*jarsOfBatch)
		lives := b*jarsOfBatch >= size.Jars-size.Live
		bottles := 0
		if bottled := size.Jars - size.Live; !lives && bottled > 0 {
			bottles = size.Bottles / bottled
		}
		// The batches of the shelf end now, each older one a little before.
		end := now.Add(-time.Duration(batches-1-b) * day / 4)
		tags := f.batch(int64(b+1), jars, size.Entries/size.Jars, bottles, lives, end)
		if lives {
			live = append(live, tags...)
		}
	}
	if f.err != nil {
		return nil, f.err
	}
	return live, tx.Commit()
}

// filler writes rows; after its first error it writes no more.
type filler struct {
	tx     *sql.Tx
	stmts  map[string]*sql.Stmt
	random *rand.Rand
	issued map[larder.Tag]bool
	lots   map[string]int // by the day
	seq    int64
	err    error
}

// insert writes one row into a table with columns "a, b, c".
func (f *filler) insert(table, columns string, values ...any) {
	if f.err != nil {
		return
	}
	s, ok := f.stmts[table]
	if !ok {
		marks := strings.Repeat(", ?", len(values))[2:]
		if s, f.err = f.tx.Prepare(`INSERT INTO ` + table + ` (` + columns + `) VALUES (` + marks + `)`); f.err != nil {
			return
		}
		f.stmts[table] = s
	}
	if _, err := s.Exec(values...); err != nil {
		f.err = fmt.Errorf("bulk: %s: %w", table, err)
	}
}

func (f *filler) json(v any) string {
	text, err := json.Marshal(v)
	if err != nil && f.err == nil {
		f.err = err
	}
	return string(text)
}

// tag is like one that is drawn, from the filler's own source.
func (f *filler) tag(kind string, at time.Time) larder.Tag {
	for f.err == nil {
		draw := func() (larder.Tag, error) { return larder.NewJarTag(larder.MaxJarTag) }
		if kind == "bottle" {
			draw = larder.NewBottleTag
		}
		tag, err := draw()
		if err != nil {
			f.err = err
			break
		}
		if f.issued[tag] {
			continue
		}
		f.issued[tag] = true
		f.insert("tag", "tag, kind, issued_ms", tag, kind, at.UnixMilli())
		return tag
	}
	return ""
}

// id counts up like the time in a UUID v7.
func (f *filler) id() uuid.UUID {
	f.seq++
	id := uuid.UUID{6: 0x70, 8: 0x80}
	for i := range 6 {
		id[i] = byte(f.seq >> (8 * (5 - i)))
	}
	return id
}

func (f *filler) act(at time.Time) uuid.UUID {
	key := f.id()
	f.insert("act", "key, kind, fingerprint, ref, by, recorded_ms", key[:], "bulk", []byte{0}, key.String(), "ro", at.UnixMilli())
	return key
}

// jar is a jar while its log is written.
type jar struct {
	tag   larder.Tag
	act   uuid.UUID
	state larder.State
}

func (f *filler) batch(id int64, jars, entries, bottles int, lives bool, end time.Time) []larder.Tag {
	begun := end.Add(-time.Duration(entries) * day)
	ms := begun.UnixMilli()
	f.insert("batch", "id, name, base, ingredients, happened_ms, precision, spread_days, target_g_per_100ml, jar_outer_diameter_mm, note, by, recorded_ms",
		id, fmt.Sprintf("Russet juice %d", id), larder.Juice, f.json([]larder.Ingredient{{Name: "apple juice", Amount: chem.Amount{VolumeML: 30000}}}),
		ms, larder.Exact, 0, 5, 0, "pressed in the yard", "ro", ms)
	f.insert("recipe", "name, batch_id", "apple juice", id)
	list := make([]jar, jars)
	tags := make([]larder.Tag, jars)
	for i := range list {
		list[i] = jar{tag: f.tag("jar", begun), act: f.act(begun)}
		tags[i] = list[i].tag
		// Its state follows; the entries refer to it meanwhile.
	}
	for n := range entries {
		at := begun.Add(time.Duration(n) * day)
		for i := range list {
			f.entry(&list[i], at, body(n, entries, lives, f.random))
		}
	}
	if !lives {
		f.bottle(list, bottles, end)
	}
	for i, j := range list {
		f.insert("jar", "tag, batch_id, letter, size_ml, place, live, state, hold, listed",
			j.tag, id, larder.JarLetter(i), 5000, "pantry", j.state.Stage.Live(), f.json(j.state), j.state.Hold, j.state.ListedText())
	}
	return tags
}

// body is the nth of a jar's entries: a fermentation in readings, with a
// titration now and then.
func body(n, of int, lives bool, random *rand.Rand) larder.Body {
	switch {
	case n == 0:
		return larder.StageChange{To: larder.Must, VolumeML: new(chem.Millilitres(3000))}
	case n == of/10:
		return larder.StageChange{From: larder.Must, To: larder.Alcoholic}
	case n == of/5:
		return larder.StageChange{From: larder.Alcoholic, To: larder.Acetic,
			Starter: &larder.Feed{From: larder.FromBought, Name: "live vinegar", VolumeML: new(chem.Millilitres(300)), Live: true}}
	case n == of-1 && !lives:
		return larder.StageChange{From: larder.Acetic, To: larder.Finished}
	case n%13 == 7:
		acid := 1 + 4.5*float64(n)/float64(of) // g/100 mL
		end := acid / 6.005 * 5 / 0.1 * 0.1 * 10
		return larder.Titration{Titration: chem.Titration{SampleML: 5, BaseMolPerL: 0.1,
			Replicates: []chem.Replicate{{EndML: chem.Millilitres(end)}, {EndML: chem.Millilitres(end + 0.1)}}}}
	case n%17 == 3:
		return larder.Action{What: larder.Stirred}
	}
	return larder.Reading{PH: new(chem.PH(float64(280+random.IntN(90)) / 100)), TempC: new(chem.Celsius(18 + random.IntN(8))), Instrument: "bench meter"}
}

func (f *filler) entry(j *jar, at time.Time, b larder.Body) {
	e := larder.Entry{ID: f.id(), Act: j.act, Jar: j.tag, When: larder.ExactAt(at.UTC().Truncate(time.Millisecond)), Kind: b.Kind(), Body: b}
	ms := e.When.At.UnixMilli()
	e.Seq = f.seq
	f.insert("entry", "seq, id, act, jar, happened_ms, precision, spread_days, recorded_ms, by, note, kind, body",
		e.Seq, e.ID[:], e.Act[:], e.Jar, ms, e.When.Precision, 0, ms, "ro", "", e.Kind, f.json(b))
	before := j.state
	j.state = before.Apply(e)
	var running chem.Millilitres
	if before.VolumeML != nil {
		running = *before.VolumeML
	}
	for _, flow := range larder.Flows(before, e, j.state, running) {
		f.insert("flow", "entry, kind, jar, happened_ms, ml", e.Seq, flow.Kind, j.tag, ms, flow.ML)
	}
	edge, ok := larder.EdgeOf(e)
	if !ok {
		return
	}
	null := func(s string) sql.NullString { return sql.NullString{String: s, Valid: s != ""} }
	f.insert("edge", "entry, what, from_jar, from_name, to_jar, to_lot, volume_ml, mother, happened_ms, early_ms, late_ms",
		e.Seq, edge.What, null(string(edge.FromJar)), edge.FromName, null(string(edge.ToJar)), null(edge.ToLot), edge.VolumeML, edge.Mother,
		ms, edge.When.Earliest().UnixMilli(), edge.When.Latest().UnixMilli())
}

// bottle bottles the jars of a batch together, and empties them.
func (f *filler) bottle(list []jar, each int, at time.Time) {
	count := each * len(list)
	if count == 0 {
		return
	}
	w := larder.ExactAt(at.UTC().Truncate(time.Millisecond))
	day := w.At.Format(time.DateOnly)
	lot := larder.Lot{ID: larder.LotID(w, time.UTC, f.lots[day]), Name: "Cider vinegar", When: w, RecordedAt: w.At, By: "ro",
		Runs: []larder.Run{{Count: count, SizeML: 250}}, Bases: []larder.Base{larder.Juice}, Ingredients: []string{"apple juice"}}
	f.lots[day]++
	key := f.act(at)
	volume := chem.Millilitres(each * 250)
	jars := make([]larder.Jar, len(list))
	for i := range list {
		j := &list[i]
		jars[i] = larder.Jar{Tag: j.tag, SizeML: 5000, State: j.state}
		lot.Pours = append(lot.Pours, larder.Pour{Jar: j.tag, VolumeML: volume})
		own := j.act
		j.act = key
		f.entry(j, at, larder.Transfer{What: larder.Bottled, Lot: lot.ID, VolumeML: new(volume)})
		j.act = own
		f.entry(j, at.Add(time.Minute), larder.StageChange{From: larder.Finished, To: larder.Empty})
	}
	lot.Acidity = larder.LotAcidity(lot.Pours, jars)
	f.insert("lot", "id, act, name, happened_ms, body", lot.ID, key[:], lot.Name, w.At.UnixMilli(), f.json(lot))
	for n := range count {
		tag := f.tag("bottle", at)
		f.insert("bottle", "tag, lot, number, size_ml", tag, lot.ID, n+1, 250)
		if n%2 == 0 {
			f.insert("gift", "bottle, lot, act, to_whom, happened_ms, precision, spread_days, note, by, recorded_ms",
				tag, lot.ID, key[:], fmt.Sprintf("house %d", f.random.IntN(200)), w.At.UnixMilli(), larder.Day, 0, "", "ro", w.At.UnixMilli())
		}
	}
}
