package scan

import (
	"errors"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"

	"github.com/gin-gonic/gin"
	"github.com/google/uuid"

	"cruet/internal/chem"
	"cruet/internal/larder"
	"cruet/internal/web"
)

// form is one form of a page, laid out for the template "form".
type form struct {
	ID      string
	Title   string // of the fold that it stands in
	Action  string
	Key     string
	Open    bool
	Problem string // what is wrong with the form as a whole
	Intro   string
	Bench   string // what is known of the instrument
	Caution string
	Fields  []field
	Submit  string
	More    bool   // a button inside asks for more lines, which Enter must not press
	Link    string // where the form is, when it is not on this page
	Keep    string // what a phone calls it while it cannot be sent; empty: it is not kept
}

// field is one input with its label, its hint and what is wrong with it.
type field struct {
	Kind        string // text, area, choice, check, select, row, fold, more, hidden, when, other, joined
	ID, Name    string
	Label, Hint string
	Value       string
	Error       string
	Placeholder string
	Mode        string   // inputmode
	Suffix      string   // a fixed unit behind the box
	Unit        string   // the chosen unit, when there is a choice
	Units       []string // the choice
	Options     []option
	Checked     bool
	Focus       bool
	For         string  // the choices for which it matters; empty: all
	Parts       []field // of a row
	Max         int
	Note        string         // of another jar: which one that is
	Adds        bool           // of another jar: it is added to those chosen
	Leave       string         // of a jar in a list: takes it out again
	List        []string       // offered while typing
	Offers      string         // id of what the kitchen suggests for it
	Limit       *chem.LogLimit // for the page's script; the station judges by itself
}

// builder lays out the fields of one form from what was typed, if anything,
// and hangs each problem on the field that it names.
type builder struct {
	id       string
	typed    url.Values // nil: a fresh form
	problems larder.Problems
	used     map[int]bool
	units    chem.System
}

func newBuilder(id string, typed url.Values, problems larder.Problems, units chem.System) *builder {
	return &builder{id: id, typed: typed, problems: problems, used: map[int]bool{}, units: units}
}

// maxMessage is where one field's problems are enough to read.
const maxMessage = 600

// take gives the first problem of a field and marks all of its problems shown.
func (b *builder) take(name string) string {
	message := ""
	for i, p := range b.problems {
		if p.Field != name || b.used[i] {
			continue
		}
		b.used[i] = true
		if len(message) > maxMessage {
			continue
		}
		if message == "" {
			message = p.Message
		} else if !strings.Contains(message, p.Message) {
			message += " " + p.Message
		}
	}
	return message
}

// rest joins the problems that no field has taken.
func (b *builder) rest() string {
	var out []string
	for i, p := range b.problems {
		if !b.used[i] && !slices.Contains(out, p.Message) {
			out = append(out, p.Message)
		}
	}
	return strings.Join(out, " ")
}

func (b *builder) field(kind, name, label, hint string) field {
	return field{Kind: kind, ID: b.id + "-" + name, Name: name, Label: label, Hint: hint, Value: b.typed.Get(name), Error: b.take(name)}
}

// hidden says something to the station that the maker need not see.
func (b *builder) hidden(name, value string) field {
	f := b.field("hidden", name, "", "")
	if f.Value == "" {
		f.Value = value
	}
	return f
}

func (b *builder) text(name, label, hint string, max int) field {
	f := b.field("text", name, label, hint)
	f.Max, f.Offers = max, suggestions[name]
	return f
}

// suggestions are the lists of the frame for the fields of these names.
var suggestions = map[string]string{"place": "places", "instrument": "instruments", "meter": "instruments"}

func (b *builder) area(name, label, hint string) field {
	return b.field("area", name, label, hint)
}

// number is a plain number whose unit, if any, stands behind the box.
func (b *builder) number(name, label, suffix, hint string) field {
	f := b.field("text", name, label, hint)
	f.Mode, f.Suffix = "decimal", suffix
	return f
}

// limited hands the limits of a logged value to the page's script.
func limited(f field, name string) field {
	if l, ok := chem.LogLimitOf(name); ok {
		f.Limit = &l
	}
	return f
}

// NotANumber is what the page's script says of a value that is no number.
func (form) NotANumber() string { return chem.NotANumber }

// Limits tells that the form has fields which the page's script judges.
func (f form) Limits() bool {
	return slices.ContainsFunc(f.Fields, func(one field) bool { return one.Limit != nil })
}

// volume is a number with a choice of units, the kitchen's first.
func (b *builder) volume(name, label, hint string) field {
	units := []string{"L", "mL", "cup", "fl oz", "pt", "qt", "gal"}
	if b.units == chem.US {
		units = []string{"qt", "cup", "fl oz", "pt", "gal", "mL", "L"}
	}
	return b.withUnits(name, label, hint, units)
}

// bottleVolume is a volume of the size of a bottle.
func (b *builder) bottleVolume(name, label, hint string) field {
	units := []string{"mL", "L", "fl oz", "pt", "qt"}
	if b.units == chem.US {
		units = []string{"fl oz", "pt", "qt", "mL", "L"}
	}
	return b.withUnits(name, label, hint, units)
}

func (b *builder) temperature(name, label, hint string) field {
	units := []string{"°C", "°F"}
	if b.units == chem.US {
		units = []string{"°F", "°C"}
	}
	return b.withUnits(name, label, hint, units)
}

func (b *builder) withUnits(name, label, hint string, units []string) field {
	f := b.field("text", name, label, hint)
	f.Mode, f.Units, f.Unit = "decimal", units, units[0]
	if typed := b.typed.Get(name + "_unit"); typed != "" {
		f.Unit = typed
	}
	return f
}

// choice is a row of big buttons of which one is chosen; start is the one
// chosen on a fresh form.
func (b *builder) choice(name, label, start string, options ...option) field {
	f := b.field("choice", name, label, "")
	if f.Value == "" {
		f.Value = start
	}
	for _, o := range options {
		o.Chosen = o.Value == f.Value
		f.Options = append(f.Options, o)
	}
	return f
}

func (b *builder) pull(name, label, start string, options ...option) field {
	f := b.choice(name, label, start, options...)
	f.Kind = "select"
	return f
}

func (b *builder) check(name, label string) field {
	f := b.field("check", name, label, "")
	f.Checked = f.Value != ""
	return f
}

// only says for which choices a field matters.
func only(f field, picks string) field {
	f.For = picks
	return f
}

// whenAndBy ends every form: when it happened, and who says so.
func (b *builder) whenAndBy(by string) []field {
	w := b.field("when", "when", "When", `or like "22 Nov", "3 days ago", "about the 22nd"`)
	w.Placeholder = "now"
	pick := b.typed.Get("when_pick")
	for _, o := range []option{{Value: "", Text: "now"}, {Value: "today", Text: "today"}, {Value: "yesterday", Text: "yesterday"}} {
		o.Chosen = o.Value == pick
		w.Options = append(w.Options, o)
	}
	return []field{w, b.by(by)}
}

func (b *builder) by(by string) field {
	f := b.text("by", "Your initials", "", larder.MaxByRunes)
	if b.typed == nil {
		f.Value = by
	}
	return f
}

// row puts short fields side by side under one label. Each says itself what is
// wrong with it.
func row(label string, parts ...field) field {
	return field{Kind: "row", Label: label, Parts: parts}
}

// fold hides fields that are seldom used, unless they hold or want something.
func fold(label string, parts ...field) field {
	f := field{Kind: "fold", Label: label, Parts: parts}
	for _, p := range parts {
		f.Checked = f.Checked || p.Value != "" || p.Error != ""
		for _, q := range p.Parts {
			f.Checked = f.Checked || q.Value != "" || q.Error != ""
		}
	}
	return f
}

// finish makes the form. A form with problems is open.
func (b *builder) finish(f form) form {
	f.ID = b.id
	if f.Key == "" {
		f.Key = newKey()
	}
	f.Problem = b.rest()
	f.Open = f.Open || len(b.problems) > 0
	focusFirst(f.Fields)
	return f
}

func newKey() string { return uuid.Must(uuid.NewV7()).String() }

// nextKey is the n-th key after one: the random part counted up, as RFC 9562,
// 6.2 (method 2), lets a maker of several do. Keys that look alike make a page
// of many forms lighter.
func nextKey(key string, n int) string {
	id := uuid.MustParse(key)
	id[15] += byte(n) // fewer than 256
	return id.String()
}

// reader takes what was typed out of a form. What cannot be read becomes a
// problem, never a zero.
type reader struct {
	typed    url.Values
	problems larder.Problems
	now      time.Time // in the kitchen's zone
	typedAt  time.Time // when it was typed on a phone that may have kept it; zero: not told
}

// readForm parses a sent form; the error is the transport's.
func readForm(c *gin.Context, now time.Time) (*reader, error) {
	if err := c.Request.ParseForm(); err != nil {
		var tooLarge *http.MaxBytesError
		if errors.As(err, &tooLarge) {
			return nil, err
		}
		return nil, larder.Refuse("", "The form arrived broken. Send it again; it will be saved once.")
	}
	// What nobody signed is signed by the phone that sent it.
	typed, phone := c.Request.PostForm, visitorOf(c).Phone
	if phone != nil && typed.Has("by") && strings.TrimSpace(typed.Get("by")) == "" {
		typed.Set("by", phone.Name)
	}
	r := &reader{typed: typed, now: now}
	if ms, err := strconv.ParseInt(r.typed.Get("typed_at"), 10, 64); err == nil {
		// A phone's clock that runs ahead is no reason to doubt the present.
		if at := time.UnixMilli(ms).In(now.Location()); at.Before(now) {
			r.typedAt = at
		}
	}
	return r, nil
}

// form reads what was sent, with the kitchen that it is meant in.
func (p *Pages) form(c *gin.Context) (larder.Kitchen, *reader, error) {
	k, err := p.DB.Kitchen(c.Request.Context())
	if err != nil {
		return k, nil, err
	}
	r, err := readForm(c, p.now(k))
	return k, r, err
}

func (r *reader) text(name string) string {
	return strings.TrimSpace(strings.ReplaceAll(r.typed.Get(name), "\r\n", "\n"))
}

// number is nil for an empty box.
func (r *reader) number(name string) *float64 {
	text := r.text(name)
	if text == "" {
		return nil
	}
	v, err := chem.ParseNumber(trimUnit(name, text))
	if err != nil {
		r.problems.Add(name, err.Error())
		return nil
	}
	return &v
}

// trimUnit takes off the unit that the field's name states, so that "2 mL" typed
// into a box of mL is 2. Any other unit stays and is refused.
func trimUnit(name, text string) string {
	lower := strings.ToLower(text)
	for part, units := range map[string][]string{"_ml": {"ml"}, "_percent_vol": {"% vol", "%vol", "%"}, "_percent": {"%"}, "_g_per_100ml": {"g/100 ml", "g/100ml", "%"}, "acidity": {"g/100 ml", "g/100ml", "%"}, "brix": {"°bx", "bx"}, "_mm": {"mm"}, "_g_per_100g": {"g/100 g", "%"}, "_mol_per_l": {"mol/l", "m"}, "_mv": {"mv"}, "minutes": {"minutes", "min"}} {
		if !strings.Contains(name, part) {
			continue
		}
		for _, unit := range units {
			if cut, ok := strings.CutSuffix(lower, unit); ok {
				return strings.TrimSpace(cut)
			}
		}
	}
	return text
}

// need is a number that must be there; ask is the sentence when it is not.
func (r *reader) need(name, ask string) float64 {
	if r.text(name) == "" {
		r.problems.Add(name, ask)
		return 0
	}
	if v := r.number(name); v != nil {
		return *v
	}
	return 0
}

// quantity is a typed number with the unit chosen beside it, unless a unit was
// typed, too.
func (r *reader) quantity(name string) string {
	text := r.text(name)
	if text == "" || strings.ContainsFunc(text, unicode.IsLetter) {
		return text
	}
	return strings.TrimSpace(text + " " + r.text(name+"_unit"))
}

func (r *reader) volume(name string) *chem.Millilitres {
	return readQuantity(r, name, chem.ParseVolume)
}

func (r *reader) temperature(name string) *chem.Celsius {
	return readQuantity(r, name, chem.ParseTemperature)
}

func readQuantity[T any](r *reader, name string, parse func(string) (T, error)) *T {
	text := r.quantity(name)
	if text == "" {
		return nil
	}
	v, err := parse(text)
	if err != nil {
		r.problems.Add(name, err.Error())
		return nil
	}
	return &v
}

// when reads the typed date, else the picked one. Neither is now, which stays
// zero so that the same form sent again is the same act; a phone that keeps what
// it cannot send says when now was, each time the same.
func (r *reader) when() larder.When {
	text := r.text("when")
	if text == "" {
		text = r.text("when_pick")
	}
	now := r.now
	if !r.typedAt.IsZero() {
		now = r.typedAt
	}
	w, err := larder.ParseWhen(text, now, now.Location())
	if err == nil && w.IsZero() && !r.typedAt.IsZero() {
		w = larder.ExactAt(r.typedAt)
	}
	if err != nil {
		r.problems.Add("when", err.Error())
	}
	return w
}

// jarTag reads the tag of another jar.
func (r *reader) jarTag(name string) larder.Tag {
	text := r.text(name)
	if text == "" {
		return ""
	}
	if i := strings.LastIndexByte(text, '/'); i >= 0 {
		text = text[i+1:] // a scanned link
	}
	tag, _, err := larder.ParseTag(text)
	if err == nil && tag.IsBottle() {
		err = errors.New("That is a bottle's tag. Type the tag of the jar.") //nolint:staticcheck // a sentence for the cook
	}
	if err != nil {
		r.problems.Add(name, err.Error())
		return ""
	}
	return tag
}

// act is who sends the form and its key. A form without a readable key was not
// made by this station and is asked for again.
func (r *reader) act() larder.Act {
	key, err := uuid.Parse(r.typed.Get("key"))
	if err != nil || key.Version() != 7 {
		r.problems.Add("", "This form has lost its mark against being saved twice. Look it over and press the button again.")
		r.typed.Set("key", newKey())
	}
	return larder.Act{Key: key, By: r.text("by")}
}

// typedAs makes a typed number the quantity that it is.
func typedAs[T ~float64](v *float64) *T {
	if v == nil {
		return nil
	}
	return new(T(*v))
}

const byCookie = "by"

// remembered is a small thing that this phone said before.
func remembered(c *gin.Context, name string) string {
	v, err := c.Cookie(name)
	if phone := visitorOf(c).Phone; err != nil && name == byCookie && phone != nil && !phone.Program {
		return phone.Name
	}
	if err != nil {
		return ""
	}
	return v
}

func remember(c *gin.Context, name, value string) {
	if value == "" || len(value) > 200 {
		return
	}
	http.SetCookie(c.Writer, &http.Cookie{Name: name, Value: url.QueryEscape(value), Path: "/",
		MaxAge: 400 * 24 * 3600, HttpOnly: true, SameSite: http.SameSiteLaxMode})
}

// refused tells a form's own trouble from that of the station: what is wrong
// field by field, the status, and the key that the form should carry next.
func refused(err error, typed url.Values) (problems larder.Problems, status int, key string, ok bool) {
	var conflict *larder.ConflictError
	key = typed.Get("key")
	switch {
	case err == nil:
		return nil, 0, "", false
	case errors.As(err, &problems):
		return problems, http.StatusUnprocessableEntity, key, true
	case errors.As(err, &conflict):
		return larder.Problems{{Message: "This form was saved once already, with other values in it. To save what stands here as well, press the button again; if the first was wrong, strike it in the history."}},
			http.StatusConflict, newKey(), true
	}
	// Where the station is at fault the form comes back too, with its key: what was
	// typed must not be lost with the answer.
	var missing *larder.NotFoundError
	var tag *larder.TagError
	if errors.As(err, &missing) || errors.As(err, &tag) {
		return nil, 0, "", false
	}
	if a := web.AnswerTo(err); a.Status >= http.StatusInternalServerError {
		return larder.Problems{{Message: a.Title + ". " + a.Detail}}, a.Status, key, true
	}
	return nil, 0, "", false
}
