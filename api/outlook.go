package api

import (
	"context"
	"math"
	"net/http"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"cruet/internal/chem"
	"cruet/internal/forecast"
	"cruet/internal/larder"
	"cruet/internal/store"
	"cruet/internal/verdict"
)

// Outlook is where a jar can get, where it is going and what it may be used for.
// "cruet show --json" prints the same.
type Outlook struct {
	Ceiling    *Ceiling          `json:"ceiling,omitempty"`
	NoCeiling  string            `json:"no_ceiling,omitempty"`
	Forecast   Forecast          `json:"forecast"`
	PHFlag     string            `json:"ph_flag,omitempty"`
	Market     verdict.Market    `json:"market"`
	Verdict    []verdict.Finding `json:"verdict"`
	Disclaimer string            `json:"disclaimer"`
}

// Ceiling is the highest acidity that a recipe or a jar can reach.
type Ceiling struct {
	StoichiometricGPer100ML chem.GramsPer100ML `json:"stoichiometric_g_per_100ml"`
	LikelyGPer100ML         chem.GramsPer100ML `json:"likely_g_per_100ml"`
	LikelyLowGPer100ML      chem.GramsPer100ML `json:"likely_low_g_per_100ml"`
	LikelyHighGPer100ML     chem.GramsPer100ML `json:"likely_high_g_per_100ml"`
	PotentialABV            chem.PercentVol    `json:"potential_abv_percent_vol"`
	Reach                   chem.Reach         `json:"reach,omitempty"`
	Change                  *Change            `json:"change,omitempty"`
	Text                    string             `json:"text"`
	From                    string             `json:"from"`
	NotCounted              []string           `json:"not_counted"`
	Notes                   []string           `json:"notes"`
	Explain                 chem.Explain       `json:"explain"`
}

// Change is what would bring the likely acidity to the target, any one of three.
type Change struct {
	AddSugarG     float64          `json:"add_sugar_g"`
	AddStrongerML chem.Millilitres `json:"add_stronger_ml"`
	LessWaterML   chem.Millilitres `json:"less_water_ml"`
	StrongerABV   chem.PercentVol  `json:"stronger_abv_percent_vol"`
	ForML         chem.Millilitres `json:"for_volume_ml"`
}

// Forecast is where a jar's acidity is going.
type Forecast struct {
	Enough                bool              `json:"enough_data"`
	Findings              []ForecastFinding `json:"findings"`
	End                   *Band             `json:"end,omitempty"`
	ChanceOfTargetPercent *float64          `json:"chance_of_target_percent,omitempty"`
	Finish                *Dates            `json:"finish,omitempty"`
	FinishKind            string            `json:"finish_kind,omitempty"`
	Target                *Dates            `json:"target_reached,omitempty"`
	Plateau               *Dates            `json:"rise_over,omitempty"`
	Band                  []BandPoint       `json:"band"`
	Caution               string            `json:"caution"`
}

// ForecastFinding is one thing that the forecast has to tell.
type ForecastFinding struct {
	Kind forecast.FindingKind `json:"kind"`
	Text string               `json:"text"`
}

// Band is a central 80 % interval of an acidity.
type Band struct {
	LowGPer100ML  chem.GramsPer100ML `json:"low_g_per_100ml"`
	MidGPer100ML  chem.GramsPer100ML `json:"mid_g_per_100ml"`
	HighGPer100ML chem.GramsPer100ML `json:"high_g_per_100ml"`
}

// BandPoint is the band at one time.
type BandPoint struct {
	At time.Time `json:"at"`
	Band
}

// Dates is a central 80 % interval of a date.
type Dates struct {
	Early  time.Time `json:"early"`
	Likely time.Time `json:"likely"`
	Late   time.Time `json:"late"`
}

func (a *API) registerOutlook(h huma.API) {
	huma.Register(h, get("/jars/{tag}/outlook", "get-outlook", "jars", "Where a jar can get, where it is going, what it may be used for",
		"The ceiling of its recipe, must or alcohol; a forecast from its titrations; and for each use what the evidence allows, with the published rules. A forecast is not a measurement, and a verdict is not a permission.", http.StatusNotFound), a.outlook)
}

func (a *API) outlook(ctx context.Context, in *JarPath) (*answer[Outlook], error) {
	tag, _, err := larder.ParseTag(in.Tag)
	if err != nil {
		return nil, err
	}
	k, err := a.DB.Kitchen(ctx)
	if err != nil {
		return nil, err
	}
	o, err := a.DB.Outlook(ctx, tag, now().In(k.Location()))
	if err != nil {
		return nil, err
	}
	return &answer[Outlook]{OutlookOf(o)}, nil
}

// OutlookOf gives an outlook its JSON form.
func OutlookOf(o store.Outlook) Outlook {
	out := Outlook{NoCeiling: o.NoCeiling, Forecast: forecastOf(o.Forecast, o.Batch.TargetGPer100ML), PHFlag: larder.PHFlag(o.Jar.State, o.Ceiling),
		Market: o.Market, Verdict: o.Verdict, Disclaimer: verdict.Defer}
	if o.NoCeiling == "" {
		out.Ceiling = CeilingOf(o.Ceiling, o.Batch.TargetGPer100ML)
	}
	return out
}

// recipeCeiling is nil when the recipe does not tell.
func recipeCeiling(b larder.Batch, liquid *chem.Millilitres) *Ceiling {
	c, err := larder.CeilingOfRecipe(b.Ingredients, liquid, b.TargetGPer100ML)
	if err != nil {
		return nil
	}
	return CeilingOf(c, b.TargetGPer100ML)
}

// CeilingOf gives a ceiling its JSON form.
func CeilingOf(c larder.Ceiling, target chem.GramsPer100ML) *Ceiling {
	out := &Ceiling{StoichiometricGPer100ML: c.StoichiometricGPer100ML, LikelyGPer100ML: c.LikelyGPer100ML, LikelyLowGPer100ML: c.LikelyLowGPer100ML,
		LikelyHighGPer100ML: c.LikelyHighGPer100ML, PotentialABV: c.PotentialABVPercent, Reach: c.Reach, Text: c.Sentence(target), From: c.From,
		NotCounted: list(c.Missing), Notes: list(c.Notes), Explain: c.Explain}
	if ch := c.Change; ch != nil {
		out.Change = &Change{ch.AddSugarG, ch.AddStrongerML, ch.LessWaterML, ch.StrongerABV, ch.ForML}
	}
	return out
}

func forecastOf(f forecast.Forecast, target chem.GramsPer100ML) Forecast {
	out := Forecast{Enough: f.Enough(), Findings: []ForecastFinding{}, Band: []BandPoint{}, Caution: forecast.Caution, FinishKind: string(f.FinishKind),
		Finish: datesOf(f.Finish), Target: datesOf(f.Target), Plateau: datesOf(f.Plateau)}
	for _, x := range f.Findings {
		out.Findings = append(out.Findings, ForecastFinding{x.Kind, x.Text})
	}
	for _, s := range f.Steps() {
		out.Band = append(out.Band, BandPoint{s.At, bandOf(s.Band)})
	}
	if f.Foresees() {
		out.End = new(bandOf(f.End))
	}
	if chance, ok := f.Chance(); ok && target > 0 {
		out.ChanceOfTargetPercent = new(math.Round(100 * chance))
	}
	return out
}

func bandOf(b forecast.Band) Band { return Band{b.LowGPer100ML, b.MidGPer100ML, b.HighGPer100ML} }

func datesOf(d forecast.DateRange) *Dates {
	if d.IsZero() {
		return nil
	}
	return &Dates{d.Early, d.Likely, d.Late}
}
