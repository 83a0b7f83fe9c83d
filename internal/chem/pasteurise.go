package chem

import "fmt"

// Pasteurising guide values. The window: Ohio State University Extension HYG-5346-09, 140 °F at
// least and not over 160 °F; it gives no time. The time: USDA bulletins, 30 min at 60 to 66 °C, from
// memory.
const (
	PasteuriseMinC  Celsius = 60
	PasteuriseMaxC  Celsius = (160.0 - 32) / 1.8
	PasteuriseHoldC Celsius = 66 // up to here the 30 minutes are told
	PasteuriseMin           = 30 // minutes
)

// PasteuriseCaution stands beside every pasteurising guide.
const PasteuriseCaution = "Hot vinegar scalds and its vapour stings: heat it gently in a water bath with a thermometer, open, with air about; warm the bottles first, as cold glass cracks. Heating makes it keep; it does not make home-made vinegar fit for canning. Follow local rules and a licensed practice for anything sold."

// CheckPasteurise judges a heating that was done: "" when it met the guide, else what was missing.
// The error is on temperature_c or minutes.
func CheckPasteurise(t Celsius, minutes float64) (string, error) {
	if err := checkAll(in{"pasteurise.temperature_c", float64(t)}, in{"minutes", minutes}); err != nil {
		return "", err
	}
	switch {
	case t < PasteuriseMinC:
		return fmt.Sprintf("%s °C is under the 60 °C of the guide: it does not count as pasteurised.", num(float64(t))), nil
	case minutes < PasteuriseMin:
		return fmt.Sprintf("%s minutes is under the 30 minutes of the guide: it does not count as pasteurised.", num(minutes)), nil
	case t > PasteuriseMaxC:
		return fmt.Sprintf("%s °C is over the 71 °C of the guide: aroma and acid are driven off; titrate again.", num(float64(t))), nil
	}
	return "", nil
}

// PasteuriseGuide is the guide opened to its source.
func PasteuriseGuide() Explain {
	return Explain{
		Formula: "heat to at least 60 °C and not over 71 °C, hold, then bottle hot, cap and cool",
		Values:  []Given{{"lowest", float64(PasteuriseMinC), "°C"}, {"highest", float64(PasteuriseMaxC), "°C"}, {"hold", PasteuriseMin, "min"}, {"hold told up to", float64(PasteuriseHoldC), "°C"}},
		Source:  "Ohio State University Extension HYG-5346-09 for the temperatures; USDA bulletins, from memory, for the 30 minutes.",
		Limits:  "A guide for keeping quality, not a process for canning. Strain the mother out first.",
	}
}
