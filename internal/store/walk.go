package store

import (
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strings"

	"cruet/internal/chem"
	"cruet/internal/larder"
)

// walk follows the edges of the lineage, back against the flow or forward with it,
// following time: what left a jar before something came in is not of that. It asks
// for all jars of a step at once, and of each jar only for edges of dates that were
// not asked for before. So every edge is read once, and the cycles of a perpetual
// crock end. Vague dates are read so that nothing is missed.
type walk struct {
	querier
	back  bool
	ahead bool          // it has met nothing yet but a line
	found []larder.Step // by depth; back the newest first, forward the oldest
	depth int
	most  int      // steps; 0: all
	level []walked // of the last step, to be used again
	// had tells what was read of a jar: back, the edges into it that may be earlier
	// than this; forward, those out of it that may be as late as this.
	had map[larder.Tag]int64
}

// walked is a step with the ends of what its date may mean.
type walked struct {
	larder.Step
	earlyMS, lateMS int64
}

// span is what to read of a jar: back, the edges into it whose earliest date is at
// or after from and before to; forward, those out of it by their latest date.
type span struct {
	jar      larder.Tag
	from, to int64
}

func newWalk(q querier, back bool) *walk {
	return &walk{querier: q, back: back, ahead: back, found: []larder.Step{}, had: map[larder.Tag]int64{}}
}

// walkBack walks from jars as they were at a time.
func walkBack(ctx context.Context, q querier, jars []larder.Tag, untilMS int64) ([]larder.Step, error) {
	return newWalk(q, true).from(ctx, jars, untilMS, nil)
}

// walkBackFromLot walks from all that was bottled in a lot.
func walkBackFromLot(ctx context.Context, q querier, lot string) ([]larder.Step, error) {
	return newWalk(q, true).fromEdges(ctx, nil, intoLotSQL, lot)
}

// walkForward walks from all that the jars ever held.
func walkForward(ctx context.Context, q querier, jars []larder.Tag) ([]larder.Step, error) {
	return newWalk(q, false).from(ctx, jars, 0, nil)
}

// walkForwardFromName walks from jars, and from the edges by which that name went
// into others.
func walkForwardFromName(ctx context.Context, q querier, jars []larder.Tag, name string) ([]larder.Step, error) {
	return newWalk(q, false).fromEdges(ctx, jars, ofNameSQL, name)
}

func (w *walk) fromEdges(ctx context.Context, jars []larder.Tag, query string, arg any) ([]larder.Step, error) {
	first, err := w.edges(ctx, query, arg)
	if err != nil {
		return nil, err
	}
	return w.from(ctx, jars, 0, slices.Clone(first))
}

// from walks from jars, and from edges of the first step that are read already.
func (w *walk) from(ctx context.Context, jars []larder.Tag, untilMS int64, first []walked) ([]larder.Step, error) {
	var spans []span
	for _, tag := range jars {
		if w.back {
			spans = w.reach(spans, tag, untilMS)
		} else {
			spans = w.reach(spans, tag, math.MinInt64)
		}
	}
	for len(spans) > 0 || len(first) > 0 {
		var levels [][]walked
		ends := false
		if w.ahead && len(spans) == 1 && len(first) == 0 {
			var err error
			if levels, w.ahead, err = w.line(ctx, spans[0]); err != nil {
				return nil, err
			}
			ends = w.ahead && len(levels) < aheadSteps
		}
		if !ends && len(levels) == 0 {
			level := first
			if first = nil; len(spans) > 0 {
				more, err := w.edges(ctx, w.stepSQL(), spanList(spans))
				if err != nil {
					return nil, err
				}
				level = append(level, more...)
			}
			levels = [][]walked{level}
		}
		for _, level := range levels {
			if spans = w.add(level); w.depth == w.most {
				return w.found, nil
			}
		}
		if ends {
			break
		}
	}
	return w.found, nil
}

func (w *walk) stepSQL() string {
	if w.back {
		return intoJarsSQL
	}
	return outOfJarsSQL
}

// line reads ahead along a line: what a jar came from, what that came from, and so on,
// in one go. It stops where it gets wide or ways meet, since each way is followed by
// itself; the steps before are complete. More tells that it did not have to stop.
func (w *walk) line(ctx context.Context, s span) (levels [][]walked, more bool, err error) {
	const wide = 3
	seen := map[int64]bool{}
	more = true
	err = w.read(ctx, aheadSQL, spanList([]span{s}), func(depth int, s walked) bool {
		if depth > len(levels) {
			levels = append(levels, nil)
		}
		met := seen[s.Seq] || (depth > 1 && s.earlyMS < w.readBefore(s.ToJar))
		if met || len(levels[depth-1]) == wide-1 {
			levels, more = levels[:depth-1], false
			return false
		}
		seen[s.Seq] = true
		levels[depth-1] = append(levels[depth-1], s)
		return true
	})
	return levels, more, err
}

// add takes in the edges of the next step and tells what to read for the one after.
func (w *walk) add(level []walked) (next []span) {
	w.depth++
	type key struct {
		at      int
		ms, seq int64
	}
	keys := make([]key, len(level))
	direction := int64(1)
	if w.back {
		direction = -1
	}
	for i := range level {
		keys[i] = key{i, direction * level[i].When.At.UnixMilli(), direction * level[i].Seq}
	}
	slices.SortFunc(keys, func(a, b key) int { return cmp.Or(cmp.Compare(a.ms, b.ms), cmp.Compare(a.seq, b.seq)) })
	for _, k := range keys {
		s := &level[k.at]
		s.Depth = w.depth
		w.found = append(w.found, s.Step)
		if w.back {
			next = w.reach(next, s.FromJar, s.lateMS)
		} else {
			next = w.reach(next, s.ToJar, s.earlyMS)
		}
	}
	return next
}

// reach adds what is still to be read of a jar that liquid came out of as late as ms,
// or into as early.
func (w *walk) reach(spans []span, jar larder.Tag, ms int64) []span {
	if jar == "" {
		return spans
	}
	read, seen := w.had[jar]
	if w.back {
		to := ms
		if to < math.MaxInt64 {
			to++
		}
		if !seen {
			read = math.MinInt64
		}
		if to > read {
			w.had[jar] = to
			spans = append(spans, span{jar, read, to})
		}
		return spans
	}
	if !seen {
		read = math.MaxInt64
	}
	if ms < read {
		w.had[jar] = ms
		spans = append(spans, span{jar, ms, read})
	}
	return spans
}

// spanList is spans for the texts below: two dates of twenty digits and a tag in one
// word each, which takes less time to take apart than JSON.
func spanList(spans []span) string {
	words := make([]string, len(spans))
	for i, s := range spans {
		words[i] = fmt.Sprintf("%020d%020d%s", s.from, s.to, s.jar)
	}
	return jsonList(words...)
}

const (
	spansSQL    = ` FROM json_each(?) s CROSS JOIN edge ON `
	withinSQL   = ` >= CAST(substr(s.value, 1, 20) AS INTEGER)`
	beforeSQL   = ` < CAST(substr(s.value, 21, 20) AS INTEGER) AND NOT struck`
	intoSpanSQL = spansSQL + `to_jar = substr(s.value, 41) AND early_ms` + withinSQL + ` AND early_ms` + beforeSQL
	outSpanSQL  = spansSQL + `from_jar = substr(s.value, 41) AND late_ms` + withinSQL + ` AND late_ms` + beforeSQL

	// edgeSQL hands out nothing where there is nothing to tell, since a value costs more
	// to hand out than to find: no other ends of an exact date. It looks up the entry behind
	// an edge only where that tells more: what was bought, and whether a date is a day or
	// about.
	edgeSQL = `edge.entry, what, edge.from_jar, nullif(from_name, ''), to_jar, to_lot, volume_ml, nullif(mother, 0), edge.happened_ms,
		iif(edge.late_ms = edge.happened_ms, NULL, early_ms), iif(edge.late_ms = edge.happened_ms, NULL, edge.late_ms),
		iif(edge.from_jar IS NULL OR edge.late_ms - edge.happened_ms = 43200000,
			(SELECT precision || ' ' || iif(edge.from_jar IS NULL, coalesce(body ->> '$.feed', body ->> '$.starter', ''), '') FROM entry WHERE seq = edge.entry), NULL)`

	intoJarsSQL  = `SELECT 1, ` + edgeSQL + intoSpanSQL
	outOfJarsSQL = `SELECT 1, ` + edgeSQL + outSpanSQL
	intoLotSQL   = `SELECT 1, ` + edgeSQL + ` FROM edge WHERE to_lot = ? AND NOT struck`
	ofNameSQL    = `SELECT 1, ` + edgeSQL + ` FROM edge WHERE from_name = ? COLLATE NOCASE AND from_name <> '' AND NOT struck`

	// aheadSQL goes on to further steps, along each way by itself: an edge that two ways
	// meet at comes twice.
	aheadSQL = `WITH RECURSIVE way (entry, from_jar, late_ms, depth) AS (
		SELECT entry, from_jar, late_ms, 1` + intoSpanSQL + `
		UNION ALL
		SELECT e.entry, e.from_jar, e.late_ms, depth + 1 FROM way CROSS JOIN edge e ON e.to_jar = way.from_jar AND e.early_ms <= way.late_ms AND NOT e.struck
		WHERE depth < 64 ORDER BY 4)
		SELECT depth, ` + edgeSQL + ` FROM way CROSS JOIN edge ON edge.entry = way.entry`
	aheadSteps = 64 // as in aheadSQL: it ends a way that goes round between vague dates
)

// edges reads the edges of one step; the next step reads into the same place.
func (w *walk) edges(ctx context.Context, query string, arg any) ([]walked, error) {
	w.level = w.level[:0]
	err := w.read(ctx, query, arg, func(_ int, s walked) bool {
		w.level = append(w.level, s)
		return true
	})
	return w.level, err
}

// read reads edges with their depths, until each says that it is enough.
func (w *walk) read(ctx context.Context, query string, arg any, each func(depth int, s walked) bool) error {
	rows, err := w.QueryContext(ctx, query, arg)
	if err != nil {
		return fmt.Errorf("walking the lineage: %w", err)
	}
	defer rows.Close()
	c := newCells(13)
	for rows.Next() {
		if err := c.read(rows); err != nil {
			return fmt.Errorf("walking the lineage: %w", err)
		}
		depth, s, err := readEdge(c)
		if err != nil {
			return fmt.Errorf("walking the lineage: %w", err)
		}
		if !each(depth, s) {
			return nil
		}
	}
	if err := rows.Err(); err != nil {
		return fmt.Errorf("walking the lineage: %w", err)
	}
	return nil
}

func (w *walk) readBefore(jar larder.Tag) int64 {
	if ms, seen := w.had[jar]; seen {
		return ms
	}
	return math.MinInt64
}

// readEdge reads a row of edgeSQL after a depth.
func readEdge(c *cells) (depth int, s walked, err error) {
	s.Seq, s.What = c.integer(1), larder.TransferKind(c.text(2))
	s.FromJar, s.FromName, s.ToJar, s.ToLot = larder.Tag(c.text(3)), c.text(4), larder.Tag(c.text(5)), c.text(6)
	if ml, ok := c.real(7); ok {
		s.VolumeML = new(chem.Millilitres(ml))
	}
	s.Mother = c.integer(8) != 0
	ms := c.integer(9)
	precision, spread := string(larder.Exact), 0
	if s.earlyMS, s.lateMS = ms, ms; c.values[10] != nil {
		const halfDayMS, dayMS = 12 * 3600 * 1000, 24 * 3600 * 1000
		s.earlyMS, s.lateMS = c.integer(10), c.integer(11)
		precision, spread = string(larder.About), int((s.lateMS-ms-halfDayMS)/dayMS)
	}
	if text := c.text(12); text != "" {
		known, fed, _ := strings.Cut(text, " ")
		if spread == 0 {
			precision = known
		}
		if fed != "" {
			var f larder.Feed
			if err := json.Unmarshal([]byte(fed), &f); err != nil {
				return 0, s, err
			}
			s.StatedAcidity, s.Live, s.MassG, s.Supplier, s.SupplierLot = f.Acidity, f.Live, f.MassG, f.Supplier, f.SupplierLot
		}
	}
	s.When = when(ms, precision, spread)
	return int(c.integer(0)), s, nil
}
