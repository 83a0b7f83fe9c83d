package store

import (
	"context"
	"time"

	"cruet/internal/chem"
	"cruet/internal/larder"
	"cruet/internal/verdict"
)

// Finishing is the finishing bench: some jars, what their liquid becomes, and
// what the evidence allows of it.
type Finishing struct {
	Jars    []larder.Jar
	Batches []larder.Batch // of the jars, in the same order
	Plan    larder.FinishPlan
	Verdict []verdict.Finding // of all of it together, as it is now
	// After is the verdict once the water is in; nil when none is to be added.
	After []verdict.Finding
}

// Finish reckons the finishing bench of jars for a target acidity (nil: by sense,
// 0: no water) and sizes of bottle. It writes nothing. A hold on what a jar came
// from is among the reasons why it cannot be bottled yet. The error is
// larder.Problems, or a larder.NotFoundError for an unknown tag.
func (db *DB) Finish(ctx context.Context, tags []larder.Tag, target *chem.GramsPer100ML, sizes []chem.Millilitres, now time.Time) (Finishing, error) {
	var f Finishing
	if len(tags) > larder.MaxLotJars {
		_, err := larder.Finish(make([]larder.Jar, len(tags)), target, nil)
		return f, err
	}
	market, err := db.market(ctx)
	if err != nil {
		return f, err
	}
	err = db.snapshot(ctx, func(q querier) error {
		var held []larder.Held
		for _, tag := range tags {
			jar, err := jarByTag(ctx, q, tag)
			if err != nil {
				return err
			}
			batch, err := batchByID(ctx, q, jar.BatchID)
			if err != nil {
				return err
			}
			f.Jars, f.Batches = append(f.Jars, jar), append(f.Batches, batch)
			behind, err := heldBehind(ctx, q, jar, now.UnixMilli())
			if err != nil {
				return err
			}
			if err := larder.CheckHeld(tag, behind, larder.When{}); err != nil {
				held = append(held, behind...)
				f.Plan.NotYet = append(f.Plan.NotYet, err.Error())
			}
		}
		behind := f.Plan.NotYet
		var err error
		if f.Plan, err = larder.Finish(f.Jars, target, sizes); err != nil {
			return err
		}
		f.Plan.NotYet = append(f.Plan.NotYet, behind...)
		lot, err := asLot(ctx, q, f, larder.ExactAt(now))
		if err != nil {
			return err
		}
		judge := func(a larder.Acidity) []verdict.Finding {
			lot.Acidity = a
			e := verdict.EvidenceOfJars(lot, f.Jars, now)
			return verdict.Judge(e.OnHold(held), market)
		}
		f.Verdict = judge(f.Plan.Acidity)
		if f.Plan.AddML > 0 {
			f.After = judge(f.Plan.Expected)
		}
		return nil
	})
	return f, err
}

// asLot is the lot that the jars would be, were all of them bottled now.
func asLot(ctx context.Context, q querier, f Finishing, at larder.When) (larder.Lot, error) {
	lot := larder.Lot{When: at, Name: larder.LotName(f.Batches[0]), Heated: true}
	for _, jar := range f.Jars {
		lot.Pours = append(lot.Pours, larder.Pour{Jar: jar.Tag, VolumeML: *jar.State.VolumeML})
		lot.Heated = lot.Heated && jar.State.HeatedAt != nil
	}
	err := madeOf(ctx, q, &lot, at)
	return lot, err
}
