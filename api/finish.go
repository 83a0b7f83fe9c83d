package api

import (
	"context"
	"net/http"

	"github.com/danielgtaylor/huma/v2"

	"cruet/internal/chem"
	"cruet/internal/larder"
	"cruet/internal/store"
	"cruet/internal/verdict"
)

// Finishing is the finishing bench: some jars, what their liquid becomes, and
// what the evidence allows of it. "cruet finish --json" prints the same.
type Finishing struct {
	Jars            []larder.Tag       `json:"jars"`
	HeldML          chem.Millilitres   `json:"held_ml"`
	Acidity         *Acidity           `json:"acidity,omitempty"`
	TargetGPer100ML chem.GramsPer100ML `json:"target_g_per_100ml"`
	WaterML         chem.Millilitres   `json:"add_water_ml"`
	LikelyWaterML   *chem.Millilitres  `json:"likely_water_ml,omitempty"`
	WhyNoWater      string             `json:"why_no_water,omitempty"`
	ExpectedML      chem.Millilitres   `json:"expected_ml"`
	Expected        *Acidity           `json:"expected_acidity,omitempty"`
	OverflowML      chem.Millilitres   `json:"overflow_ml"`
	Fills           []larder.Fill      `json:"fills"`
	NotYet          []string           `json:"not_yet"`
	Verdict         []verdict.Finding  `json:"verdict"`
	After           []verdict.Finding  `json:"verdict_after_water"`
	Disclaimer      string             `json:"disclaimer"`
}

// FinishingOf gives a finishing bench its JSON form.
func FinishingOf(f store.Finishing) Finishing {
	p := f.Plan
	out := Finishing{HeldML: p.HeldML, Acidity: acidityOf(&p.Acidity), TargetGPer100ML: p.TargetGPer100ML, WaterML: p.AddML, WhyNoWater: p.WhyNoWater,
		ExpectedML: p.ExpectedML, Expected: acidityOf(&p.Expected), OverflowML: p.OverflowML, Fills: list(p.Fills), NotYet: list(p.NotYet),
		Verdict: f.Verdict, After: list(f.After), Disclaimer: verdict.Defer}
	for _, jar := range f.Jars {
		out.Jars = append(out.Jars, jar.Tag)
	}
	if p.Water != nil {
		out.LikelyWaterML = &p.Water.WaterML
	}
	return out
}

func (a *API) registerFinish(h huma.API) {
	huma.Register(h, get("/finish", "get-finish", "lots", "The finishing bench: water, volume and bottles of some jars",
		"Reckons and writes nothing: how sour the jars are together, the water that keeps even the lower bound of the measurement at a target, what is then expected, the bottles of each size that it fills, why it cannot be bottled yet, and the verdict now and after the water. Water, filtering and heating are logged as entries; strength is computed after water until it is measured again.",
		http.StatusNotFound, http.StatusUnprocessableEntity), a.finish)
}

func (a *API) finish(ctx context.Context, in *struct {
	Jars   []string  `query:"jar,explode" required:"true" example:"[\"3CFX72\"]" doc:"The tag of a jar; several are reckoned together."`
	Target string    `query:"target_g_per_100ml" example:"5" doc:"The acidity to dilute to, g/100 mL; 0: none. Empty: 5 where even the lower bound lies above it, else none."`
	Sizes  []float64 `query:"size_ml,explode" example:"[250]" doc:"What a bottle holds, mL; several sizes are reckoned each for itself."`
}) (*answer[Finishing], error) {
	var p larder.Problems
	tags := parseTags(&p, in.Jars, func(int) string { return "jar" })
	var target *chem.GramsPer100ML
	if in.Target != "" {
		v, err := chem.ParseNumber(in.Target)
		p.AddError("target_g_per_100ml", err)
		target = new(chem.GramsPer100ML(v))
	}
	if len(p) > 0 {
		return nil, p
	}
	var sizes []chem.Millilitres
	for _, s := range in.Sizes {
		sizes = append(sizes, chem.Millilitres(s))
	}
	k, err := a.DB.Kitchen(ctx)
	if err != nil {
		return nil, err
	}
	f, err := a.DB.Finish(ctx, tags, target, sizes, now().In(k.Location()))
	if err != nil {
		return nil, renamed(err, map[string]string{"jars": "jar"})
	}
	return &answer[Finishing]{FinishingOf(f)}, nil
}
