package main

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"cruet/api"
	"cruet/internal/larder"
	"cruet/internal/lazy"
	"cruet/internal/store"
)

// numbered is an entry with its number in its jar's log, from 1 in the order of
// recording. Since entries are only ever added, the number never changes.
type numbered struct {
	N int `json:"n"`
	larder.Entry
}

// lotMark is the form of larder.LotID.
var lotMark = lazy.RE(`(?i)^L[0-9]{6}[A-Z]+$`)

func (a *app) showCommand() *cobra.Command {
	cmd := &cobra.Command{
		Use: "show TAG|LOT", Short: "Show a jar with its whole history, a bottle, or a lot",
		Example: `  cruet show K7RM74
  cruet show L261125A --json`,
		Args: exactly("The TAG of a jar or bottle, or a LOT"),
	}
	asJSON := jsonFlag(cmd)
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		if lotMark().MatchString(args[0]) {
			return a.inKitchen(cmd, existing, func(ctx context.Context, r room) error {
				return a.showLot(ctx, r, strings.ToUpper(args[0]), *asJSON)
			})
		}
		tag, err := a.anyTag(args[0])
		if err != nil {
			return err
		}
		return a.inKitchen(cmd, existing, func(ctx context.Context, r room) error {
			if tag.IsBottle() {
				return a.showBottle(ctx, r, tag, *asJSON)
			}
			return a.showJar(ctx, r, tag, *asJSON)
		})
	}
	return cmd
}

// wholeHistory reads all of a jar's log, newest first, and numbers it.
func wholeHistory(ctx context.Context, db *store.DB, tag larder.Tag) (store.JarPage, []numbered, error) {
	const pageSize = 500
	page, err := db.History(ctx, tag, store.Cursor{}, pageSize)
	if err != nil {
		return page, nil, spareHint(ctx, db, tag, err)
	}
	for page.Older != nil {
		next, err := db.History(ctx, tag, *page.Older, pageSize)
		if err != nil {
			return page, nil, err
		}
		page.Entries, page.Older = append(page.Entries, next.Entries...), next.Older
	}
	bySeq := slices.Clone(page.Entries)
	slices.SortFunc(bySeq, func(a, b larder.Entry) int { return int(a.Seq - b.Seq) })
	number := map[int64]int{}
	for i, e := range bySeq {
		number[e.Seq] = i + 1
	}
	log := make([]numbered, len(page.Entries))
	for i, e := range page.Entries {
		log[i] = numbered{number[e.Seq], e}
	}
	return page, log, nil
}

// spareHint says what to do with a tag that is printed but worn by no jar yet.
func spareHint(ctx context.Context, db *store.DB, tag larder.Tag, err error) error {
	var missing *larder.NotFoundError
	if !errors.As(err, &missing) {
		return err
	}
	if kind, _ := db.TagKind(ctx, tag); kind == "spare" {
		return fail("Start a batch into it: cruet start NAME ... --spare "+string(tag), "%s is a spare tag; no jar wears it yet.", tag)
	}
	return err
}

func (a *app) showJar(ctx context.Context, r room, tag larder.Tag, asJSON bool) error {
	page, log, err := wholeHistory(ctx, r.db, tag)
	if err != nil {
		return err
	}
	s := r.speech()
	due := append([]larder.Todo{}, page.Batch.Due(page.Jar.State, s.now)...)
	outlook, err := r.db.Outlook(ctx, tag, s.now.In(s.loc))
	if err != nil {
		return err
	}
	if asJSON {
		o := api.OutlookOf(outlook)
		return a.printJSON(map[string]any{"ceiling": o.Ceiling, "no_ceiling": o.NoCeiling, "forecast": o.Forecast, "ph_flag": o.PHFlag, "market": o.Market, "verdict": o.Verdict, "jar": page.Jar, "batch": page.Batch, "entries": log, "due": due,
			"came_from": append([]larder.Edge{}, page.CameFrom...), "went_into": append([]larder.Edge{}, page.WentInto...)})
	}
	a.printJar(page, due, s)
	if page.Jar.State.Stage.Live() {
		a.printOutlook(outlook, s)
	}
	a.printHistory(log, s)
	a.printPhotos(r, log)
	return nil
}

func (a *app) printJar(page store.JarPage, due []larder.Todo, s speech) {
	jar, st := page.Jar, page.Jar.State
	line := func(name, format string, args ...any) {
		fmt.Fprintf(a.out, "%-11s %s\n", name, oneLine(fmt.Sprintf(format, args...)))
	}
	fmt.Fprintf(a.out, "%s  %s, jar %s of %d\n", jar.Tag, page.Batch.Name, jar.Letter, len(page.Siblings)+1)
	if st.Hold != "" {
		line("ON HOLD", "%s", st.Hold)
	}
	for _, h := range page.Held {
		if h.Jar != jar.Tag {
			line("ON HOLD", "behind it, %s", h)
		}
	}
	line("stage", "%s since %s", st.Stage, st.StageSince.DateIn(s.loc))
	line("started", "%s (%s)", page.Batch.When.DateIn(s.loc), s.age(st.StartedAt))
	recipe := make([]string, len(page.Batch.Ingredients))
	for i, ing := range page.Batch.Ingredients {
		recipe[i] = ing.String()
	}
	line("made from", "%s", strings.TrimSuffix(string(page.Batch.Base)+"; "+strings.Join(recipe, "; "), "; "))
	line("acidity", "%s", s.acidity(st.Acidity))
	if st.PH != nil {
		line("pH", "%g on %s", float64(st.PH.Value), st.PH.When.DateIn(s.loc))
	}
	line("volume", "%s in a jar of %s", s.volume(st.VolumeML), s.volume(&jar.SizeML))
	if jar.Place != "" {
		line("stands", "%s", jar.Place)
	}
	if st.Starter != "" {
		line("starter", "%s", st.Starter)
	}
	for _, e := range page.CameFrom {
		line("came from", "%s", s.edge(e, true))
	}
	for _, e := range page.WentInto {
		line("went into", "%s", s.edge(e, false))
	}
	for _, t := range due {
		line("next", "%s", s.todo(t, st))
	}
	if page.Batch.Note != "" {
		line("note", "%s", page.Batch.Note)
	}
}

func (a *app) printHistory(log []numbered, s speech) {
	fmt.Fprintln(a.out, "history, newest first:")
	number := map[string]int{}
	for _, e := range log {
		number[e.ID.String()] = e.N
	}
	for _, e := range log {
		text := s.body(e.Body)
		if strike, ok := e.Body.(larder.Strike); ok {
			text = fmt.Sprintf("struck #%d: %s", number[strike.Target.String()], strike.Reason)
		}
		if e.Note != "" {
			text += " — " + e.Note
		}
		if e.Struck() {
			text = fmt.Sprintf("[struck by #%d] %s", number[e.StruckBy.String()], text)
		}
		fmt.Fprintf(a.out, "  #%-3d %s  %s\n", e.N, strings.TrimSpace(e.When.In(s.loc)+"  "+e.By), oneLine(text))
	}
}
