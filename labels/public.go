package labels

import (
	_ "embed"
	"html/template"
	"io"
	"strings"
	"sync"

	"cruet/internal/larder"
	"cruet/internal/verdict"
)

// Public is all that a bottle's page tells whoever holds it: nothing of other
// jars, of who else got some, or of the kitchen's network.
type Public struct {
	Kitchen, Name, Food  string
	Acidity, AcidityNote string
	Measured             bool
	Lines                [][2]string // what else the label says: name and text
	Minds                []string    // cautions, each with what it means
	Hold, Void           bool
	Maker, AsOf          string // who to ask; the day of the page
}

// PublicOf is what a bottle's page tells, from the same record as its label.
func PublicOf(f Filled) (Public, error) {
	void := f.Lot.Void
	f.Lot.Void = false // a struck lot's page says so instead of going missing
	d, err := DraftBottle(f, Wanted{Code: Facts})
	if err != nil {
		return Public{}, err
	}
	l, loc := d.Label, f.Kitchen.Location()
	p := Public{Kitchen: f.Kitchen.Name, Name: l.Name, Food: l.Food, Acidity: upperFirst(l.Acidity), AcidityNote: upperFirst(l.AcidityNote),
		Measured: f.Lot.Acidity.Basis == larder.ByTitration, Hold: len(f.Trace.Held) > 0, Void: void, Maker: l.Maker, AsOf: f.Now.In(loc).Format("2 Jan 2006")}
	if f.Lot.Acidity.Basis == larder.NotMeasured && f.Lot.Acidity.Why != "" { // its label may say more
		p.AcidityNote = "The reading behind the strength on its label was taken back since."
	}
	for _, line := range [][2]string{{"Ingredients", l.Ingredients}, {"Contains", strings.TrimPrefix(l.Contains, "Contains ")}, {"Net", d.Net},
		{"Bottled", l.Bottled}, {"Lot", l.Lot}, {"Bottle number", strings.TrimPrefix(l.Number, "bottle ")}, {"Keeping", l.Keep}} {
		if line[1] != "" {
			p.Lines = append(p.Lines, line)
		}
	}
	p.Minds = minds(d.cautions)
	return p, nil
}

// minds are a bottle's cautions, each with what it means for whoever holds it.
func minds(cautions []verdict.Short) []string {
	var out []string
	for _, c := range cautions {
		switch c.ID {
		case verdict.ShortCanning:
			out = append(out, "Not for canning or preserving: home-made vinegar must not be relied on to keep food safe. For preserves use bought vinegar of the strength that a tested recipe and your local rules ask for.")
		case verdict.ShortSulphites:
			out = append(out, c.Text+".", "Some people do not tolerate sulphites.")
		case verdict.ShortGluten:
			out = append(out, "Whoever must avoid gluten should not have it.")
		case verdict.ShortLive:
			out = append(out, "It is unpasteurised and alive. A slippery disc or threads may form: that is a mother of vinegar, which can be strained out. Whoever must avoid live foods should not have it.")
		default:
			out = append(out, c.Text+".")
		}
	}
	return append(out, "Throw it away if anything coloured or furry grows on it.")
}

//go:embed public.html
var publicHTML string

var publicPage = sync.OnceValue(func() *template.Template { return template.Must(template.New("public").Parse(publicHTML)) })

// PublicMark stands in every page that WritePublic makes, so that only such a
// page is ever replaced or withdrawn.
const PublicMark = `<meta name="generator" content="Cruet bottle page">`

// WritePublic makes a bottle's page as HTML that needs nothing else: no script,
// no other file, no network.
func WritePublic(w io.Writer, p Public) error { return publicPage().ExecuteTemplate(w, "bottle", p) }

// WritePublicDoor makes the page that stands where a web host would otherwise
// list the bottles' folders.
func WritePublicDoor(w io.Writer, kitchen string) error {
	return publicPage().ExecuteTemplate(w, "door", Public{Kitchen: kitchen})
}
