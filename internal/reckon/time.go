package reckon

import (
	"time"

	"cruet/internal/chem"
	"cruet/internal/forecast"
)

const timeGroup = "When is it done, and will it keep?"

func timeKinds() []Kind {
	return []Kind{
		{
			Name: "forecast", Title: "Forecast", Group: timeGroup, Question: "When will it be done?",
			Purpose: "Where a jar's acidity is going, from two titrations or more: the likely date, the range, and whether it stands still or falls.",
			Fields: []Field{
				listField("points", "point", "titrations", "2026-10-04: 2.1 ± 0.2\n2026-10-11: 3.0 ± 0.2", "date and acidity, ± its 95 % uncertainty if known; none from before liquid was added", parsePoint).required(),
				acidityField("ceiling_g_per_100ml", "the recipe's ceiling", "6.2", "its stoichiometric one").required(),
				acidityField("target_g_per_100ml", "target", "5", "the acidity wanted"),
				acidityField("likely_low_g_per_100ml", "likely end, from", "4.6", "both ends or none").or("0.75 of the ceiling").rare(),
				acidityField("likely_high_g_per_100ml", "likely end, to", "5.6", "").or("0.9 of the ceiling").rare(),
				dateField("started_acetic", "acetic stage began", "5 weeks ago", "").flag("started").or("not known").rare(),
				temperatureField("temperature_c", "usual temperature", "21 C", "of the shelf").flag("temp").or("not known"),
				dateField("on", "forecast made on", "today", "").or("today").rare(),
			},
			Example: Example{
				Title: "A cider vinegar that goes from 1 to 5 g/100 mL in four weeks, titrated in weeks 1 to 3.",
				Inputs: map[string]string{"points": "2025-10-08: 2.0 ± 0.2\n2025-10-15: 3.0 ± 0.2\n2025-10-22: 4.0 ± 0.2", "ceiling_g_per_100ml": "6.2",
					"target_g_per_100ml": "5", "started_acetic": "2025-10-01", "temperature_c": "21 C", "on": "2025-10-22"},
				Output: "days_to_target", Value: 7, Unit: "days", Within: 3,
				Source: "Ohio State University Extension HYG-5346-09: 3 to 4 weeks at 60 to 80 °F; the pace of four weeks, straight on",
			},
			Cautions: []string{forecast.Caution, NotForCanning},
			result:   ForecastResult{},
			fields:   map[string]string{"temp_c": "temperature_c", "started_acetic_at": "started_acetic", "now": "on"},
			run:      foretell,
		},
		{
			Name: "pasteurise", Title: "Pasteurise", Group: timeGroup, Question: "Was it heated enough to keep?",
			Purpose: "A heating held against the published guide for vinegar.",
			Fields: []Field{
				temperatureField("temperature_c", "held at", "65 C", "of the vinegar, not of the bath").flag("temp").required(),
				numberField("minutes", "for", "minutes", "30", "").required(),
			},
			Example: Example{
				Title:  "60 °C for 30 minutes.",
				Inputs: map[string]string{"temperature_c": "60 C", "minutes": "30"},
				Output: "meets_guide", Value: 1, Unit: "", Within: 0,
				Source: "Ohio State University Extension HYG-5346-09, 140 °F at least; USDA bulletins, from memory, for 30 minutes",
			},
			Cautions: []string{chem.PasteuriseCaution, NotForCanning},
			result:   PasteuriseResult{},
			run:      pasteurise,
		},
	}
}

// ForecastResult is a forecast as data; dates are days, left out when there is
// none.
type ForecastResult struct {
	Enough            bool                `json:"enough_data"`
	On                string              `json:"on"`
	Findings          []ForecastFinding   `json:"findings"`
	NowLowGPer100ML   *chem.GramsPer100ML `json:"now_low_g_per_100ml,omitempty"`
	NowMidGPer100ML   *chem.GramsPer100ML `json:"now_likely_g_per_100ml,omitempty"`
	NowHighGPer100ML  *chem.GramsPer100ML `json:"now_high_g_per_100ml,omitempty"`
	EndLowGPer100ML   *chem.GramsPer100ML `json:"end_low_g_per_100ml,omitempty"`
	EndMidGPer100ML   *chem.GramsPer100ML `json:"end_likely_g_per_100ml,omitempty"`
	EndHighGPer100ML  *chem.GramsPer100ML `json:"end_high_g_per_100ml,omitempty"`
	ChanceOfTarget    *float64            `json:"chance_of_target,omitempty"`
	TargetEarly       string              `json:"target_early,omitempty"`
	TargetLikely      string              `json:"target_likely,omitempty"`
	TargetLate        string              `json:"target_late,omitempty"`
	DaysToTarget      *float64            `json:"days_to_target,omitempty"`
	DaysToTargetEarly *float64            `json:"days_to_target_early,omitempty"`
	DaysToTargetLate  *float64            `json:"days_to_target_late,omitempty"`
	PlateauEarly      string              `json:"plateau_early,omitempty"`
	PlateauLikely     string              `json:"plateau_likely,omitempty"`
	PlateauLate       string              `json:"plateau_late,omitempty"`
	Explain           chem.Explain        `json:"explain"`
}

// ForecastFinding is one thing to tell the maker.
type ForecastFinding struct {
	Kind string `json:"kind"`
	Text string `json:"text"`
}

func foretell(r *reader) (Result, error) {
	in := forecast.Input{
		Points: entries[forecast.Point](r, "points"), CeilingGPer100ML: num[chem.GramsPer100ML](r, "ceiling_g_per_100ml"),
		TargetGPer100ML: num[chem.GramsPer100ML](r, "target_g_per_100ml"), LikelyLowGPer100ML: num[chem.GramsPer100ML](r, "likely_low_g_per_100ml"),
		LikelyHighGPer100ML: num[chem.GramsPer100ML](r, "likely_high_g_per_100ml"), TempC: maybe[chem.Celsius](r, "temperature_c"),
		StartedAceticAt: r.dates["started_acetic"], Now: r.now,
	}
	if on, ok := r.dates["on"]; ok {
		in.Now = on
	}
	if r.has("likely_low_g_per_100ml") && !r.has("likely_high_g_per_100ml") {
		return refuse("likely_high_g_per_100ml", "Give both ends of the likely range, or none.")
	}
	f, err := forecast.Of(in)
	if err != nil {
		return Result{}, err
	}
	loc := r.now.Location()
	res := ForecastResult{Enough: f.Enough(), On: isoDay(in.Now, loc), Findings: []ForecastFinding{}}
	out := Result{}
	for _, one := range f.Findings {
		res.Findings = append(res.Findings, ForecastFinding{string(one.Kind), one.Text})
		out.Notes = append(out.Notes, one.Text)
	}
	if f.Enough() {
		out.Headline = res.fill(f, in, loc)
	} else {
		out.Headline = []Line{computed("A forecast", "not enough data", "")}
	}
	res.Explain = forecastExplain(in)
	out.Raw, out.Explain = res, res.Explain
	return out, nil
}

// fill takes over what the forecast says and gives the lines to show.
func (res *ForecastResult) fill(f forecast.Forecast, in forecast.Input, loc *time.Location) []Line {
	now, _ := f.Band(in.Now) // there is enough
	res.NowLowGPer100ML, res.NowMidGPer100ML, res.NowHighGPer100ML = &now.LowGPer100ML, &now.MidGPer100ML, &now.HighGPer100ML
	var out []Line
	if chance, ok := f.Chance(); ok && in.TargetGPer100ML > 0 {
		res.ChanceOfTarget = &chance
		out = append(out, computed("Chance to reach "+Figure(float64(in.TargetGPer100ML))+" g/100 mL", fix(100*chance, 0), "%"))
		if !f.Target.IsZero() {
			res.TargetEarly, res.TargetLikely, res.TargetLate = isoDay(f.Target.Early, loc), isoDay(f.Target.Likely, loc), isoDay(f.Target.Late, loc)
			days := func(t time.Time) *float64 { d := t.Sub(in.Now).Hours() / 24; return &d }
			res.DaysToTargetEarly, res.DaysToTarget, res.DaysToTargetLate = days(f.Target.Early), days(f.Target.Likely), days(f.Target.Late)
			out = append(out, computed("Target reached about", day(f.Target.Likely.In(loc)), ""),
				computed("between", day(f.Target.Early.In(loc))+" and "+day(f.Target.Late.In(loc)), "(80 %)"))
		}
	}
	if !f.Plateau.IsZero() {
		res.PlateauEarly, res.PlateauLikely, res.PlateauLate = isoDay(f.Plateau.Early, loc), isoDay(f.Plateau.Likely, loc), isoDay(f.Plateau.Late, loc)
		out = append(out, computed("Rise over about", day(f.Plateau.Likely.In(loc)), ""))
	}
	out = append(out, computed("On that day", fix(now.LowGPer100ML, 1)+" to "+fix(now.HighGPer100ML, 1), "g/100 mL (80 %)"))
	if !f.Foresees() {
		return out
	}
	res.EndLowGPer100ML, res.EndMidGPer100ML, res.EndHighGPer100ML = &f.End.LowGPer100ML, &f.End.MidGPer100ML, &f.End.HighGPer100ML
	return append(out, computed("Will settle at", fix(f.End.LowGPer100ML, 1)+" to "+fix(f.End.HighGPer100ML, 1), "g/100 mL (80 %)"))
}

func isoDay(t time.Time, loc *time.Location) string { return t.In(loc).Format("2006-01-02") }

func forecastExplain(in forecast.Input) chem.Explain {
	e := chem.Explain{
		Formula: "a straight ramp with a rounded foot and shoulder, drawn 400 times in step with the titrations and with published rates (Bayes's rule); ranges are the 10 and 90 % points",
		Values:  []chem.Given{given("titrations", float64(len(in.Points)), ""), given("ceiling", float64(in.CeilingGPer100ML), "g/100 mL")},
		Source:  "Rates of rise: Adams and Moss, Food Microbiology; Ohio State University Extension HYG-5346; FAO Agricultural Services Bulletin 134, and others named in the code.",
		Limits:  "Two titrations at least 3 days apart, in the acetic stage, ceiling up to 20 g/100 mL. A sunken film, a cold spell or a top-up is not foreseen. Tried on simulated jars, not on real ones.",
	}
	if in.TargetGPer100ML > 0 {
		e.Values = append(e.Values, given("target", float64(in.TargetGPer100ML), "g/100 mL"))
	}
	if in.TempC != nil {
		e.Values = append(e.Values, given("usual temperature", float64(*in.TempC), "°C"))
	}
	return e
}

// PasteuriseResult is a heating held against the guide.
type PasteuriseResult struct {
	MeetsGuide bool         `json:"meets_guide"`
	Missing    string       `json:"missing,omitempty"`
	LowestC    chem.Celsius `json:"lowest_c"`
	HighestC   chem.Celsius `json:"highest_c"`
	Minutes    float64      `json:"minutes"`
	Explain    chem.Explain `json:"explain"`
}

func pasteurise(r *reader) (Result, error) {
	missing, err := chem.CheckPasteurise(num[chem.Celsius](r, "temperature_c"), r.numbers["minutes"])
	if err != nil {
		return Result{}, err
	}
	res := PasteuriseResult{MeetsGuide: missing == "", Missing: missing, LowestC: chem.PasteuriseMinC, HighestC: chem.PasteuriseMaxC, Minutes: chem.PasteuriseMin, Explain: chem.PasteuriseGuide()}
	judged := "meets the guide"
	out := Result{Explain: res.Explain}
	if missing != "" {
		judged, out.Notes = "does not meet the guide", []string{missing}
	}
	out.Raw = res
	out.Headline = []Line{
		computed("This heating", judged, ""), computed("The guide", fix(res.LowestC, 0)+" to "+fix(res.HighestC, 0), "°C"), computed("held for", fix(res.Minutes, 0), "minutes"),
	}
	return out, nil
}
