package scan

import (
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"

	"golang.org/x/net/html"

	"cruet/internal/chem"
	"cruet/internal/reckon"
)

func TestReckonIndex(t *testing.T) {
	s := newStation(t)
	page := s.get("/reckon").wants(http.StatusOK, "How sour is it?", "Can this recipe reach 5 %?")
	for _, k := range reckon.Kinds() {
		page.wants(http.StatusOK, k.Question, k.Title).has(`href="/reckon/` + k.Name + `"`)
	}
}

var inputRE = regexp.MustCompile(`<(?:input|textarea|select)[^>]* name="([a-z0-9_]+)"`)

// Each calculator: an empty form, its worked example with the published figure
// beside it, and nothing lost when something is wrong.
func TestReckonKinds(t *testing.T) {
	s := newStation(t)
	for _, k := range reckon.Kinds() {
		empty := s.get("/reckon/"+k.Name).wants(http.StatusOK, k.Title, k.Purpose, k.Example.Source)
		empty.lacks("How this is reckoned", `class="wrong"`)
		names := map[string]bool{}
		for _, m := range inputRE.FindAllStringSubmatch(empty.Body.String(), -1) {
			names[m[1]] = true
		}
		for _, f := range k.Fields {
			if !names[f.Name] {
				t.Errorf("%s: the form has no input %s", k.Name, f.Name)
			}
		}
		empty.clean()
		if !strings.Contains(empty.Body.String(), `<form class="entry" method="get" action="/reckon/`+k.Name+`"`) {
			t.Errorf("%s: no GET form", k.Name)
		}
		s.reckonExample(k)
		s.reckonEmpty(k)
		s.reckonWrong(k)
	}
}

// clean holds the page against what every page must be: nothing inline, a
// label for every input, no id twice.
func (a answer) clean() answer {
	a.s.t.Helper()
	doc, err := html.Parse(strings.NewReader(a.Body.String()))
	if err != nil {
		a.s.t.Fatal(err)
	}
	c := &cleaner{t: a.s.t.(*testing.T), path: a.path, ids: map[string]int{}, labelled: map[string]bool{}}
	c.walk(doc, false)
	c.finish()
	return a
}

// reckonExample follows the link of the worked example.
func (s *station) reckonExample(k reckon.Kind) {
	s.t.Helper()
	res, err := k.Compute(k.Example.Inputs, s.now())
	if err != nil {
		s.t.Fatal(err)
	}
	address := reckonURL(k.Name, k.Example.Inputs)
	page := s.get(address).clean().wants(http.StatusOK, "How this is reckoned", "Source: "+res.Explain.Source, "Holds for:").lacks(`class="wrong"`)
	for _, l := range res.Headline {
		page.wants(http.StatusOK, l.Label, l.Value)
	}
	for _, c := range res.Cautions {
		page.wants(http.StatusOK, c)
	}
}

// reckonEmpty sends the form with nothing in it.
func (s *station) reckonEmpty(k reckon.Kind) {
	s.t.Helper()
	sent := url.Values{"asked": {"1"}}
	for _, f := range k.Fields {
		if f.Accepts != reckon.Choice {
			sent.Set(f.Name, "")
		}
	}
	page := s.get("/reckon/" + k.Name + "?" + sent.Encode()).follow()
	page.wants(http.StatusUnprocessableEntity).has(`class="wrong"`, `aria-invalid="true"`).lacks("How this is reckoned")
}

// reckonWrong puts a word where each of the example's inputs was: it is kept,
// marked, and the others are kept, too.
func (s *station) reckonWrong(k reckon.Kind) {
	s.t.Helper()
	for _, f := range k.Fields {
		if _, ok := k.Example.Inputs[f.Name]; !ok || f.Accepts == reckon.Choice {
			continue
		}
		sent := url.Values{}
		for name, text := range k.Example.Inputs {
			sent.Set(name, text)
		}
		sent.Set(f.Name, "mumble")
		page := s.get("/reckon/"+k.Name+"?"+sent.Encode()).wants(http.StatusUnprocessableEntity, "mumble")
		page.clean().has(`id="reckon-` + f.Name + `-error"`).lacks("How this is reckoned")
		for name, text := range k.Example.Inputs {
			first, _, _ := strings.Cut(text, "\n")
			number, _, _ := strings.Cut(first, " ")
			if field, _ := k.Field(name); name != f.Name && field.Accepts != reckon.Choice && !strings.Contains(page.Body.String(), number) {
				s.t.Errorf("%s: %s lost %q when %s was wrong", k.Name, name, text, f.Name)
			}
		}
	}
}

// A form's own fields, number and unit apart, become one short address.
func TestReckonAddressIsTidy(t *testing.T) {
	s := newStation(t)
	a := s.get("/reckon/titration?sample_ml=2&sample_ml_unit=mL&base_mol_per_l=0%2C1&replicates=0.00-16.70%0D%0A0.10-16.80&blank_ml=&blank_ml_unit=mL&asked=1")
	a.wants(http.StatusSeeOther)
	want := "/reckon/titration?" + url.Values{"sample_ml": {"2 mL"}, "base_mol_per_l": {"0,1 mol/L"}, "replicates": {"0.00-16.70\n0.10-16.80"}}.Encode()
	if got := a.Header().Get("Location"); got != want {
		t.Errorf("%s\nwant\n%s", got, want)
	}
	page := a.follow().wants(http.StatusOK, "Acidity, as acetic acid 5.0 ±", "measured", chem.BaseCaution)
	page.has(`value="2"`, `<option selected>mL</option>`, `value="0,1"`, ">0.00-16.70\n0.10-16.80</textarea>")
}

func TestReckonUnitsOfTheKitchen(t *testing.T) {
	s := newStation(t)
	k, err := s.db.Kitchen(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	k.USUnits = true
	if err := s.db.SetKitchen(t.Context(), k); err != nil {
		t.Fatal(err)
	}
	s.get("/reckon/dilute?volume_ml=1+qt&acidity_g_per_100ml=8&target_g_per_100ml=5").wants(http.StatusOK, "Add water 19.2 fl oz", "Makes 1.6 qt")
}

func TestNoSumFromPH(t *testing.T) {
	s := newStation(t)
	for _, path := range []string{"/reckon/ph", "/reckon/ph-to-acidity", "/reckon/pH-acidity"} {
		s.get(path).wants(http.StatusNotFound, "No sum goes from pH to acidity", "Titrate.")
	}
	s.get("/reckon/luck").wants(http.StatusNotFound, "There is no such sum")
	for _, k := range reckon.Kinds() {
		if strings.HasPrefix(k.Name, "ph-") || k.Name == "calibrate" || k.Name == "control" {
			s.get("/reckon/"+k.Name).wants(http.StatusOK, chem.PHNeverAcidity)
		}
	}
}

func TestReckonSwappedBurette(t *testing.T) {
	s := newStation(t)
	s.get("/reckon/titration?sample_ml=2+mL&base_mol_per_l=0.1+M&replicates=16.7-0.2").wants(http.StatusUnprocessableEntity, "are the two readings swapped?").
		has(`id="reckon-replicates-error"`, "16.7-0.2</textarea>")
}
