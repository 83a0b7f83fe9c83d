package verdict

import (
	"strings"

	"cruet/internal/larder"
)

// Market is whose published rules are asked. The zero Market is Elsewhere.
type Market string

// The markets that the table of rules knows. Elsewhere stands for all others:
// the strictest limit of the whole table is used there.
const (
	Elsewhere Market = ""
	US        Market = "US"
	EU        Market = "EU"
	UK        Market = "UK"
	Germany   Market = "DE"
	France    Market = "FR"
	Uruguay   Market = "UY"
	China     Market = "CN"
	Japan     Market = "JP"
)

// Markets lists them in the order of a form.
func Markets() []Market {
	return []Market{US, EU, UK, Germany, France, Uruguay, China, Japan, Elsewhere}
}

// Name is the market in words.
func (m Market) Name() string {
	switch m {
	case US:
		return "United States"
	case EU:
		return "European Union"
	case UK:
		return "United Kingdom"
	case Germany:
		return "Germany"
	case France:
		return "France"
	case Uruguay:
		return "Uruguay (Montevideo)"
	case China:
		return "China"
	case Japan:
		return "Japan"
	}
	return "elsewhere (the strictest limits of all)"
}

// MarketOf is whose rules a kitchen asks; an unknown one gets the strictest.
func MarketOf(k larder.Kitchen) Market {
	m, err := ParseMarket(k.Market)
	if err != nil {
		return Elsewhere
	}
	return m
}

// ParseMarket reads a market's code in either case; "elsewhere" and empty text
// are Elsewhere. An error is larder.Problems on the field market.
func ParseMarket(text string) (Market, error) {
	code := strings.ToUpper(strings.TrimSpace(text))
	if code == "ELSEWHERE" {
		return Elsewhere, nil
	}
	var known []string
	for _, m := range Markets() {
		if string(m) == code {
			return m, nil
		}
		if m != Elsewhere {
			known = append(known, string(m))
		}
	}
	return Elsewhere, larder.Refuse("market", "There is no market "+code+" in the rules. Choose "+strings.Join(known, ", ")+" or elsewhere, which takes the strictest limits.")
}
