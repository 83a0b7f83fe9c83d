package chart

import (
	"fmt"
	"math"
	"strings"
	"time"

	"cruet/internal/larder"
)

// The size of a small curve in CSS pixels.
const (
	sparkWidthPX  = 88
	sparkHeightPX = 30
	sparkEdgePX   = 3.0 // room for the dot at the end
)

// SparkOf is the quantity that tells most of a jar: the first of acidity, pH,
// gravity and sugar that was measured at least twice; ok is false when none was.
func SparkOf(log []larder.Entry, now time.Time) (s Series, ok bool) {
	in := FromLog(log, now)
	for _, s := range in.Series {
		if s.Name != "Alcohol" && s.Name != "Temperature" && len(s.Points) >= 2 {
			return s, true
		}
	}
	return Series{}, false
}

// Spark draws the points of a series, in order of time, as a small curve for a
// line of a list: no axes, all ink the text's own, its first and last value in
// the label for those who cannot see it. Fewer than two points draw nothing.
func Spark(s Series) string {
	if len(s.Points) < 2 || s.check() != nil {
		return ""
	}
	first, last := s.Points[0], s.Points[len(s.Points)-1]
	low, high := math.Inf(1), math.Inf(-1)
	for _, p := range s.Points {
		low, high = math.Min(low, p.Value), math.Max(high, p.Value)
	}
	if want := math.Max(s.LeastSpan, 1e-9); high-low < want {
		low, high = (low+high-want)/2, (low+high+want)/2
	}
	span := math.Max(1, last.At.Sub(first.At).Seconds())
	var path strings.Builder
	var x, y float64
	for i, p := range s.Points {
		x = sparkEdgePX + p.At.Sub(first.At).Seconds()/span*(sparkWidthPX-2*sparkEdgePX)
		y = sparkEdgePX + (high-p.Value)/(high-low)*(sparkHeightPX-2*sparkEdgePX)
		letter := "L"
		if i == 0 {
			letter = "M"
		}
		fmt.Fprintf(&path, "%s%.0f %.1f", letter, x, y)
	}
	days := int(math.Round(span / 24 / 3600))
	words := fmt.Sprintf("%s %.*f to %.*f in %d days", s.Name, s.Decimals, first.Value, s.Decimals, last.Value, days)
	return fmt.Sprintf(`<svg class="spark" role="img" aria-label="%s" width="%d" height="%d" viewBox="0 0 %d %d"><path d="%s" fill="none" stroke="currentColor" stroke-width="1.6" stroke-linejoin="round"/><circle cx="%.0f" cy="%.1f" r="2.8" fill="currentColor"/></svg>`,
		escape(words), sparkWidthPX, sparkHeightPX, sparkWidthPX, sparkHeightPX, path.String(), x, y)
}
