package scan

import (
	"context"
	"net"
	"net/http"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"

	"cruet/internal/larder"
	"cruet/internal/needed"
	"cruet/internal/reckon"
	"cruet/internal/web"
)

// listen serves the station on the loopback address, to a phone that is paired.
func (s *station) listen() (base string) {
	s.t.Helper()
	return s.serve(s.listening())
}

// listening is the station for a phone that is paired, whoever asks.
func (s *station) listening() http.HandlerFunc {
	s.t.Helper()
	// A program's token does as well, and signs nothing by itself.
	phone, err := s.db.AddProgram(context.Background(), "browser "+newKey()[24:])
	if err != nil {
		s.t.Fatal(err)
	}
	return func(w http.ResponseWriter, r *http.Request) {
		if web.Token(r) == "" {
			web.ShowToken(r, phone.Token)
		}
		s.engine.ServeHTTP(w, r)
	}
}

// serve serves h on the loopback address.
func (s *station) serve(h http.HandlerFunc) (base string) {
	s.t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		s.t.Fatal(err)
	}
	server := web.Server(h)
	go func() { _ = server.Serve(l) }() // ends with ErrServerClosed
	s.t.Cleanup(func() { _ = server.Close() })
	return "http://" + l.Addr().String()
}

// browser is a headless Chromium of the size of a phone. Without Chromium the
// test is skipped, except in CI.
func browser(t testing.TB, width, height int64, dark bool) context.Context {
	t.Helper()
	path := needed.Program(t, "chromium", "chromium-browser", "google-chrome", "chrome")
	opts := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(path), chromedp.NoSandbox, chromedp.DisableGPU,
		chromedp.Flag("disable-component-update", true),
		// Back must ask the station again, the harder case.
		chromedp.Flag("disable-features", "site-per-process,Translate,BlinkGenPropertyTrees,BackForwardCache"), chromedp.UserDataDir(t.TempDir()))
	alloc, cancel := chromedp.NewExecAllocator(context.Background(), opts...)
	t.Cleanup(cancel)
	ctx, cancel := chromedp.NewContext(alloc)
	t.Cleanup(cancel)
	phone{t, ctx}.looksAt(screen{"", width, height, dark})
	ctx, cancel = context.WithTimeout(ctx, 5*time.Minute)
	t.Cleanup(cancel)
	return ctx
}

// screen is a size and a scheme of colours in which pages are looked at.
type screen struct {
	name string
	w, h int64
	dark bool
}

// screens are a phone's and a desk's, by day and by night. The dark ones stand
// side by side, since a page is opened once and then shown in each.
var screens = []screen{{"phone", 360, 740, false}, {"dark phone", 360, 740, true}, {"dark desk", 1280, 800, true}, {"desk", 1280, 800, false}}

// looksAt shows the open page on that screen.
func (p phone) looksAt(on screen) {
	p.t.Helper()
	if err := chromedp.Do(p.ctx, chromedp.EmulateViewport(on.w, on.h, chromedp.EmulateScale(1), chromedp.EmulateMobile)); err != nil {
		p.t.Fatal(err)
	}
	scheme := "light"
	if on.dark {
		scheme = "dark"
	}
	_, err := chromedp.Call(p.ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{
		Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: scheme}}})
	if err != nil {
		p.t.Fatal(err)
	}
}

// looks are the pages that are looked at, by the name of the picture.
func looks(s *station) map[string]string {
	lot := s.bottled(12)
	spares, err := s.db.IssueSpares(context.Background(), act(), 1)
	if err != nil {
		s.t.Fatal(err)
	}
	s.given(lot)
	pear := string(s.jars["Pear trimmings/A"])
	if _, err := s.db.RenewCalendar(context.Background(), act(), true); err != nil {
		s.t.Fatal(err)
	}
	pages := map[string]string{
		"today": "/", "shelf": "/shelf", "shelf-part": "/shelf?stage=acetic&q=pear&hold=1", "plans": "/plans?open=fruit-scraps", "calendar": "/calendar",
		"round": "/round", "round-jar": "/round/jar/" + pear, "round-results": s.rounded(pear), "display": "/display?back=/", "jar": "/J/" + pear, "jar-reading": "/J/" + pear + "?open=reading", "jar-titration": "/J/" + pear + "?open=titration",
		"jar-action": "/J/" + pear + "?open=action&pick=strained", "jar-feed": "/J/" + pear + "?open=feed&pick=starter-jar",
		"jar-stage": at(s.jars["Quince juice/A"], "?open=stage"), "jar-hold": at(s.jars["Honey/A"], ""), "jar-retired": at(s.jars["Pear trimmings/B"], ""),
		"jar-young": at(s.jars["Windfalls/A"], ""), "start": "/start", "batch": "/batches/2?started=1", "labels": "/labels?tag=" + pear, "labels-paper": "/labels/paper", "spare": at(spares[0], ""),
		"finish": "/finish", "finish-jar": "/finish?tag=" + string(s.jars["Barley/A"]) + "&sizes=250+mL%2C+1+L", "finish-young": "/finish?tag=" + pear, "lot-labels": lotURL(lot.Lot.ID) + "/labels", "lot-labels-small": lotURL(lot.Lot.ID) + "/labels?stock=letter-3x10&rules=us",
		"bottling": "/bottle", "lots": "/lots", "lot": lotURL(lot.Lot.ID) + "?new=1", "gift": bottleURL(lot.Bottles[0]),
		"bottle": "/B/" + string(lot.Bottles[0].Tag), "caution": "/help/caution", "mistyped": "/J/K7RM4T", "unknown": "/J/" + unknown(larder.MinJarTag), "nowhere": "/nowhere",
		"jar-outlook": "/J/" + pear + "/outlook", "reckon": "/reckon", "bench": "/bench", "scan": "/scan", "scan-mistyped": "/scan?tag=K7RM4T",
		"bench-calibration": "/bench?open=calibration", "bench-base": "/bench?open=base", "bench-control": "/bench?open=control",
		"trace": "/trace", "trace-jar": "/trace?kind=jar&of=" + string(s.jars["Barley/A"]), "trace-held": "/trace?kind=jar&of=" + string(s.jars["Honey/A"]),
		"trace-several": "/trace?of=e", "trace-nothing": "/trace?of=saffron", "gifts": "/gifts", "gifts-lot": "/gifts?by=lot",
		"given": bottleURL(lot.Bottles[1]) + "?given=1", "returned": bottleURL(lot.Bottles[4]) + "?back=1",
		"pair": "/pair/" + s.code(), "phones": "/phones", "setup": "/setup", "setup-first": "/setup?paired=1", "setup-address": "/setup?open=address", "setup-bench": "/setup?open=bench&saved=shelf",
		"bench-strike": "/bench/strike?entry=" + s.equipped().String(),
		"looks":        "/help/looks", "looks-jar": "/help/looks?tag=" + pear,
	}
	photos := s.photographed(s.jars["Pear trimmings/A"])
	pages["photo-form"], pages["photo"], pages["photo-struck"] = at(s.jars["Pear trimmings/A"], "/photo"), photos[1], photos[3]
	ale := string(s.jars["Barley/A"])
	for name, path := range map[string]string{"menu": "", "strain": "/strain?step=scan", "mother": "/mother?other=" + ale, "top-up": "/top-up", "water": "/water", "infuse": "/infuse",
		"split": "/split", "move": "/move", "join": "/join?other=" + ale, "mistyped": "/mother?other=K7RM4T"} {
		pages["pour-"+name] = "/J/" + pear + "/pour" + path
	}
	pages["pour-strain-juice"] = at(s.jars["Quince juice/A"], "/pour/strain?other="+ale)
	pages["pour-held"], pages["pour-retired"] = at(s.jars["Honey/A"], "/pour"), at(s.jars["Pear trimmings/B"], "/pour/split")
	pages["lineage"], pages["lineage-none"] = at(s.jars["Barley/A"], "/lineage"), at(s.jars["Windfalls/A"], "/lineage")
	for _, k := range reckon.Kinds() {
		pages["reckon-"+k.Name] = "/reckon/" + k.Name
	}
	return pages
}
