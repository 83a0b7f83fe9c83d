package store

import (
	"context"
	"math"
	"time"

	"cruet/internal/forecast"
	"cruet/internal/larder"
	"cruet/internal/verdict"
)

// Outlook is what a jar's records say of how sour it can get, where it is
// going, and what it may be used for.
type Outlook struct {
	Jar   larder.Jar
	Batch larder.Batch
	Log   []larder.Entry // as Measurements gives it
	// Ceiling is zero when the records do not tell; NoCeiling then says what to
	// give.
	Ceiling   larder.Ceiling
	NoCeiling string
	Forecast  forecast.Forecast
	Market    verdict.Market
	Verdict   []verdict.Finding // in the order of verdict.Uses
}

// Outlook reads what forecast and verdict ask of a jar and puts it to them. Its
// dates are in now's time zone. A tag that is not a jar's is a
// larder.NotFoundError.
func (db *DB) Outlook(ctx context.Context, tag larder.Tag, now time.Time) (Outlook, error) {
	o := Outlook{}
	var err error
	if o.Jar, err = db.Jar(ctx, tag); err != nil {
		return o, err
	}
	if o.Batch, err = db.Batch(ctx, o.Jar.BatchID); err != nil {
		return o, err
	}
	if o.Log, err = db.Measurements(ctx, tag); err != nil {
		return o, err
	}
	liquid, err := db.LiquidOfBatch(ctx, o.Batch.ID)
	if err != nil {
		return o, err
	}
	givers, err := db.givers(ctx, o.Log)
	if err != nil {
		return o, err
	}
	if o.Ceiling, err = larder.CeilingOfJar(o.Batch, o.Jar, liquid, o.Log, givers); err != nil {
		o.Ceiling, o.NoCeiling = larder.Ceiling{}, err.Error()
	}
	o.Ceiling = o.Ceiling.Beside(o.Jar.State.Acidity, o.Batch.TargetGPer100ML)
	if o.Forecast, err = forecast.OfJar(o.Batch, o.Jar, o.Log, o.Ceiling, now); err != nil {
		// What is on record was checked when it came in; only together may it be
		// more than a curve can be laid through.
		o.Forecast = forecast.Forecast{Now: now, Findings: []forecast.Finding{{Kind: forecast.NotEnoughData, Text: "Nothing can be forecast: " + err.Error()}}}
	}
	if o.Forecast.Overtakes() {
		o.Ceiling = o.Ceiling.Overtaken()
	}
	o.Market, err = db.market(ctx)
	if err != nil {
		return o, err
	}
	held, err := heldBehind(ctx, db.read, o.Jar, math.MaxInt64)
	o.Verdict = verdict.Judge(verdict.EvidenceOf(o.Jar, o.Batch, now).OnHold(held), o.Market)
	return o, err
}

// givers are the jars that gave starters to the jar with this log.
func (db *DB) givers(ctx context.Context, log []larder.Entry) (larder.Givers, error) {
	out := larder.Givers{}
	logs := map[larder.Tag][]larder.Entry{}
	for _, e := range log {
		f := larder.StarterOf(e.Body)
		if e.Struck() || f == nil || f.From != larder.FromJar {
			continue
		}
		if _, read := logs[f.Jar]; !read {
			var err error
			if logs[f.Jar], err = wholeLog(ctx, db.read, f.Jar); err != nil {
				return nil, err
			}
		}
		out[e.ID] = larder.AsOf(logs[f.Jar], e.When, e.Seq)
	}
	return out, nil
}

// market is whose rules the kitchen asks; an unknown one gets the strictest.
func (db *DB) market(ctx context.Context) (verdict.Market, error) {
	k, err := db.Kitchen(ctx)
	if err != nil {
		return verdict.Elsewhere, err
	}
	return verdict.MarketOf(k), nil
}

// VerdictOfLot judges a lot by the jars it came from, as they stand now, and by the
// holds on it and on all that went into it.
func (db *DB) VerdictOfLot(ctx context.Context, lot larder.Lot, now time.Time) ([]verdict.Finding, error) {
	var jars []larder.Jar
	for _, pour := range lot.Pours {
		jar, err := db.Jar(ctx, pour.Jar)
		if err != nil {
			return nil, err
		}
		jars = append(jars, jar)
	}
	held, err := heldOfLot(ctx, db.read, lot)
	if err != nil {
		return nil, err
	}
	market, err := db.market(ctx)
	return verdict.Judge(verdict.EvidenceOfLot(lot, jars, now).OnHold(held), market), err
}

// VerdictOnGiving is what the evidence allows of giving a bottle of a lot away. It
// stops nobody, as a hold does; it is told before a bottle leaves, and after.
func (db *DB) VerdictOnGiving(ctx context.Context, lot larder.Lot, now time.Time) (verdict.Finding, error) {
	findings, err := db.VerdictOfLot(ctx, lot, now)
	return verdict.Of(verdict.GivingAway, findings), err
}
