package scan

import (
	"context"

	"cruet/internal/larder"
	"cruet/internal/store"
)

// lineageShown is how many steps of a lot's lineage its page shows; a trace tells
// the rest.
const lineageShown = 12

// lotLineage puts on a lot's page what stands against it, what it came from, and
// what else came of its jars.
func (p *Pages) lotLineage(ctx context.Context, v *lotView, lot larder.Lot, w writer) error {
	trace, err := p.DB.TraceUpTo(ctx, larder.Subject{Kind: larder.SubjectLot, ID: lot.ID}, 0)
	if err != nil {
		return err
	}
	mould, err := p.DB.MouldIn(ctx, trace.Jars)
	if err != nil {
		return err
	}
	for _, s := range trace.Back {
		if s.What != larder.Bottled && len(v.CameFrom) < lineageShown {
			one := w.cameFrom(s.Edge)
			one.Text = "Jar " + string(s.ToJar) + ": " + lowerFirst(one.Text)
			v.CameFrom = append(v.CameFrom, one)
		}
	}
	for _, j := range trace.Jars {
		if at, seen := mould[j.Tag]; seen {
			v.Mould = append(v.Mould, step{Text: "Mould was seen on " + at.In(w.now.Location()).Format("2 Jan 2006"), Link: link{jarURL(j.Tag), "in jar " + string(j.Tag)}})
		}
	}
	for _, pour := range lot.Pours {
		page, err := p.DB.History(ctx, pour.Jar, store.Cursor{}, 1)
		if err != nil {
			return err
		}
		for _, e := range page.WentInto {
			if e.ToLot != lot.ID && len(v.WentOn) < lineageShown {
				one := w.wentInto(e)
				one.Text = "Jar " + string(pour.Jar) + ": " + lowerFirst(one.Text)
				v.WentOn = append(v.WentOn, one)
			}
		}
	}
	return nil
}

func lowerFirst(s string) string {
	if s == "" || s[0] < 'A' || s[0] > 'Z' {
		return s
	}
	return string(s[0]+'a'-'A') + s[1:]
}
