package labels

import (
	"fmt"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"golang.org/x/text/unicode/norm"

	"cruet/internal/larder"
	"cruet/internal/verdict"
)

// MaxFacts is how many characters of facts a code carries: version 5 at level M
// in alphanumeric mode (ISO/IEC 18004, table 7; recalled), which with its quiet
// zone is 22.5 mm wide at modules of 0.5 mm, so that it fits on labels from an
// inch in height on.
const MaxFacts = 122

// factsAlphabet is the alphanumeric mode of ISO/IEC 18004.
const factsAlphabet = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ $%*+-./:"

// FactsText is what a code of the kind Facts says.
type FactsText struct {
	Text     string
	Warnings []string // what was left out or spelled otherwise
}

// FactsOf puts a label's facts into a code's text: name, acidity, lot and
// bottle, the date, the caution, whom to ask. What is too long is shortened, the
// least needed first; the acidity, the lot and the cautions always stay whole.
func FactsOf(d Draft, lot larder.Lot, bottle larder.Bottle, loc *time.Location) FactsText {
	var out FactsText
	spell := func(what, text string) string {
		s, lost := Transliterate(text)
		if lost != "" {
			out.Warnings = append(out.Warnings, fmt.Sprintf("The code leaves %s out of the %s.", lost, what))
		}
		return s
	}
	name := spell("name", firstOf(d.Label.Food, d.Label.Name))
	ask := spell("maker's line", d.Label.Maker)
	acidity := spell("acidity", lot.Acidity.LabelText())
	measured := ""
	if lot.Acidity.Basis == larder.ByTitration || lot.Acidity.Basis == larder.Computed {
		measured = " TITRATED " + factsDate(lot.Acidity.When, loc)
	}
	id := spell("lot mark", lot.ID)
	cautions := factsCautions(d.cautions)
	lotWord, bottled := "LOT ", "BOTTLED "+factsDate(lot.When, loc)+". "
	write := func(name, measured, ask string) string {
		text := fmt.Sprintf("%s. %s%s. %s%s/%d. %s%s.", name, acidity, measured, lotWord, id, bottle.Number, bottled, cautions)
		if ask != "" {
			text += " ASK " + ask
		}
		return text
	}
	short, who := shortName(name), firstPart(ask)
	for _, try := range []struct {
		name, measured, ask, lot string
		lost                     string
	}{
		{name, measured, ask, "LOT ", ""},
		{name, measured, who, "LOT ", "the maker's address"},
		{short, measured, who, "LOT ", "the maker's address"},
		{short, measured, who, "", "the maker's address"}, // a lot mark begins with L anyway
		{short, "", who, "", "the maker's address and when it was titrated"},
	} {
		lotWord = try.lot
		if out.Text = write(try.name, try.measured, try.ask); len(out.Text) <= MaxFacts {
			if try.lost != "" && (who != ask || try.measured != measured) {
				out.Warnings = append(out.Warnings, "The facts are too long for a code, so it leaves out "+try.lost+".")
			}
			return out
		}
	}
	room := func() int { return MaxFacts - len(write("", "", "")) }
	if room() < leastName { // the lot mark holds the day
		bottled = ""
		out.Warnings = append(out.Warnings, "The facts are too long for a code, so it leaves out when it was bottled.")
	}
	const asks = len(" ASK ")
	short = cutWords(short, min(room(), max(room()-asks-len(who), leastName)))
	out.Text = write(short, "", cutWords(who, max(room()-asks-len(short), 0)))
	out.Warnings = append(out.Warnings, "The facts are too long for a code, so the name or the maker's line is cut short.")
	return out
}

// leastName is how many characters of a name stay when the maker's line can go.
const leastName = 24

// factsCautions are the grave cautions in as few words as can be understood.
// Gluten is left to the print beside the code.
func factsCautions(list []verdict.Short) string {
	var out []string
	for _, c := range list {
		switch c.ID {
		case verdict.ShortCanning:
			out = append(out, "NOT FOR CANNING")
		case verdict.ShortInfants:
			out = append(out, "NOT UNDER 1 YEAR")
		case verdict.ShortCold, verdict.ShortWeak:
			out = append(out, "KEEP COLD")
		case verdict.ShortSulphites:
			out = append(out, strings.ToUpper(strings.Replace(c.Text, "contain", "have", 1)))
		}
	}
	return strings.Join(out, ". ")
}

// factsDate is short and cannot be misread on either side of an ocean.
func factsDate(w larder.When, loc *time.Location) string {
	text := strings.ToUpper(w.At.In(loc).Format("2 Jan 2006"))
	if w.Precision == larder.About {
		return "ABOUT " + text
	}
	return text
}

// firstPart is a line up to its first comma's place, which Transliterate made a
// hyphen between spaces.
func firstPart(s string) string {
	head, _, _ := strings.Cut(s, " - ")
	return head
}

// shortName says the same in fewer words.
func shortName(name string) string {
	return strings.Replace(name, "VINEGAR MADE FROM ", "VINEGAR OF ", 1)
}

// cutWords keeps whole words up to n characters, else n characters.
func cutWords(s string, n int) string {
	if len(s) <= n {
		return s
	}
	s = s[:n]
	if at := strings.LastIndexByte(s, ' '); at > n/2 {
		s = s[:at]
	}
	for _, loose := range []string{" -", " AND", " WITH", " OF"} {
		s = strings.TrimSuffix(s, loose)
	}
	return strings.TrimSpace(s)
}

// Transliterate writes a text in the alphabet of alphanumeric codes. Accents are
// dropped, other letters of Latin, Greek and Cyrillic spelled out as is common
// practice; lost names the characters that have no spelling here.
func Transliterate(text string) (spelled, lost string) {
	var b strings.Builder
	var left []rune
	for _, r := range norm.NFD.String(text) {
		switch up := unicode.ToUpper(r); {
		case strings.ContainsRune(factsAlphabet, up):
			b.WriteRune(up)
		case unicode.Is(unicode.Mn, r):
		case spellings[up] != "":
			b.WriteString(spellings[up])
		case silent(up):
		case unicode.IsSpace(r):
			b.WriteByte(' ')
		default:
			left = append(left, r)
		}
	}
	if len(left) > 0 {
		lost = nameRunes(left)
	}
	return strings.Join(strings.Fields(b.String()), " "), lost
}

// silent are signs and letters that say nothing in capitals.
func silent(r rune) bool {
	return strings.ContainsRune("'\"’‘“”„«»!?()[]{}^`~|\u0000ЪЬ\u00ad\u200b\ufeff", r)
}

var spellings = func() map[rune]string {
	m := map[rune]string{
		',': " - ", ';': " - ", '&': " AND ", '#': " NO ", '@': " AT ", '_': "-", '=': "-", '–': "-", '—': " - ", '‐': "-", '\u2011': "-", '−': "-", '·': "-", '…': "...",
		'±': "+/-", '×': " X ", '°': " DEG ", '№': " NO ", '€': "EUR ", '£': "GBP ", '½': "1/2", '¼': "1/4", '¾': "3/4", '²': "2", '³': "3", 'µ': "U",
		'ß': "SS", 'ẞ': "SS", 'Æ': "AE", 'Ø': "O", 'Œ': "OE", 'Ł': "L", 'Đ': "D", 'Ð': "D", 'Þ': "TH", 'ı': "I", 'Ħ': "H", 'Ŋ': "NG", 'Ə': "E",
	}
	pairs := func(letters string, spelled string) {
		for i, s := range strings.Fields(spelled) {
			r, _ := utf8.DecodeRuneInString(string([]rune(letters)[i]))
			m[r] = s
		}
	}
	pairs("ΑΒΓΔΕΖΗΘΙΚΛΜΝΞΟΠΡΣΤΥΦΧΨΩ", "A V G D E Z I TH I K L M N X O P R S T Y F CH PS O")
	pairs("АБВГДЕЖЗИЙКЛМНОПРСТУФХЦЧШЩЫЭЮЯІЇЄҐЎЈЉЊЂЋЏЅЃЌ", "A B V G D E ZH Z I Y K L M N O P R S T U F KH TS CH SH SHCH Y E YU YA I YI YE G U J LJ NJ DJ C DZ DZ GJ KJ")
	return m
}()
