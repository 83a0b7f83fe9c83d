package chem

import (
	"errors"
	"math"
	"strings"
	"testing"
)

// Sizes from NIST Handbook 44, Appendix C (US customary) and NIST SP 811, Appendix B.8 (imperial).
func TestParseVolume(t *testing.T) {
	for in, want := range map[string]float64{
		"1 gal": 3785.411784, "1 gallon": 3785.411784, "4 quarts": 3785.411784, "1 pt": 473.176473, "2 PINTS": 946.352946,
		"3 cups": 709.7647095, "1cup": 236.5882365, "1 fl oz": 29.5735295625, "1 fl. oz.": 29.5735295625, "1 US fl oz": 29.5735295625,
		"2 tbsp": 29.5735295625, "3 teaspoons": 14.78676478125,
		"1 imp gal": 4546.09, "1 imp pt": 568.26125, "1 imperial pint": 568.26125, "1 imp fl oz": 28.4130625,
		"250mL": 250, "250 ml": 250, "0,7 L": 700, "0,750 L": 750, "7.5 dl": 750, "33 cl": 330, "2 litres": 2000, "+2 L": 2000,
		"½ cup": 118.29411825, "1½ cups": 354.88235475, "1 1/2 cups": 354.88235475, "1/2 cup": 118.29411825, "1 1⁄2 cups": 354.88235475,
		"\u00a05\u2009L ": 5000,
	} {
		got, err := ParseVolume(in)
		if err != nil || math.Abs(float64(got)-want) > 1e-9*want {
			t.Errorf("ParseVolume(%q) = %v, %v; want %v", in, got, err, want)
		}
	}
	for in, say := range map[string]string{
		"": "number and a unit", "5": "no unit", "mL": "no number", "8 oz": "fl oz", "8 ounces": "fl oz", "3 kg": "not a unit of volume",
		"-1 L": "more than zero", "0 mL": "more than zero", "1,500 mL": "two ways", "1.500,2 mL": "not a plain number",
		"1e3 mL": "not a unit", "NaN mL": "no number", "0x10 mL": "not a unit", "1/0 cup": "fraction", "1 2 cups": "not a plain",
		"1.5 1/2 cup": "not a plain", "99999999 L": "more than", "5 C": "not a unit", "1 1/2": "no unit", "5 t": "not a unit",
	} {
		_, err := ParseVolume(in)
		wantFieldError(t, "ParseVolume "+in, err, "volume", say)
	}
}

func TestParseMass(t *testing.T) {
	for in, want := range map[string]float64{"2.4 kg": 2400, "2,4kg": 2400, "1 lb": 453.59237, "2 lbs": 907.18474, "1 oz": 28.349523125, "500 mg": 0.5, "1/2 pound": 226.796185} {
		got, err := ParseMass(in)
		if err != nil || math.Abs(float64(got)-want) > 1e-9*want {
			t.Errorf("ParseMass(%q) = %v, %v; want %v", in, got, err, want)
		}
	}
	for in, say := range map[string]string{"8 fl oz": "is a volume", "2": "no unit", "1 cup": "not a unit of weight", "0 g": "more than zero"} {
		_, err := ParseMass(in)
		wantFieldError(t, "ParseMass "+in, err, "mass", say)
	}
}

// 0 °C = 273.15 K, 32 °F = 0 °C and 212 °F = 100 °C: NIST SP 811, B.8 and SI Brochure.
func TestParseTemperature(t *testing.T) {
	for in, want := range map[string]float64{"20 C": 20, "20°C": 20, "20 ° C": 20, "68 F": 20, "68 °F": 20, "212 f": 100, "293.15 K": 20, "-5 C": -5, "−5 °C": -5, "32F": 0, "21,5 C": 21.5} {
		got, err := ParseTemperature(in)
		if err != nil || math.Abs(float64(got)-want) > 1e-9 {
			t.Errorf("ParseTemperature(%q) = %v, %v; want %v", in, got, err, want)
		}
	}
	for in, say := range map[string]string{"20": "no unit", "500 C": "outside", "-40 C": "outside", "20 K": "outside", "20 X": "not a unit", "": "number and a unit"} {
		_, err := ParseTemperature(in)
		wantFieldError(t, "ParseTemperature "+in, err, "temperature", say)
	}
}

func TestParseNumber(t *testing.T) {
	for in, want := range map[string]float64{"3.2": 3.2, "3,2": 3.2, "1,050": 1.05, ".5": 0.5, "-12": -12, " 7 ": 7, "−59,2": -59.2, "5.": 5} {
		got, err := ParseNumber(in)
		if err != nil || got != want {
			t.Errorf("ParseNumber(%q) = %v, %v; want %v", in, got, err, want)
		}
	}
	for _, in := range []string{"", " ", "NaN", "Inf", "-inf", "1e3", "0x1p2", "1_000", "1,000.5", "1 000", "3,4o", "٣", "--1", ".", "-", "1.2.3", strings.Repeat("9", 400)} {
		_, err := ParseNumber(in)
		wantFieldError(t, "ParseNumber "+in, err, "number", "like 3.2 or 3,2")
	}
}

func TestParseAmount(t *testing.T) {
	for in, want := range map[string]Amount{
		"2.4 kg":     {2.4, "kg", 2400, 0},
		"6 pieces":   {6, "piece", 0, 0},
		"1 piece":    {1, "piece", 0, 0},
		"500 ml":     {500, "mL", 0, 500},
		"8 oz":       {8, "oz", 8 * poundG / 16, 0},
		"1 1/2 cups": {1.5, "cup", 0, 1.5 * USCupML},
	} {
		got, err := ParseAmount(in)
		if err != nil || got != want {
			t.Errorf("ParseAmount(%q) = %+v, %v; want %+v", in, got, err, want)
		}
		again, err := ParseAmount(got.String())
		if err != nil || again != got {
			t.Errorf("ParseAmount(%q) reads %q back as %+v, %v", in, got, again, err)
		}
	}
	for in, want := range map[string]string{"1,5 cups": "1 1/2 cups", "3 CUPS": "3 cups", "1/3 cup": "1/3 cup", "1 pint": "1 pt", "2.4kg": "2.4 kg", "6 each": "6 pieces", "0.3 cup": "0.3 cup"} {
		got, err := ParseAmount(in)
		if err != nil || got.String() != want {
			t.Errorf("ParseAmount(%q) shows %q, %v; want %q", in, got, err, want)
		}
	}
	for in, say := range map[string]string{"6": "no unit", "6 handfuls": "not a unit", "0 pieces": "more than zero"} {
		_, err := ParseAmount(in)
		wantFieldError(t, "ParseAmount "+in, err, "amount", say)
	}
}

func TestFormat(t *testing.T) {
	for _, c := range []struct{ got, want string }{
		{FormatVolume(250, Metric), "250 mL"}, {FormatVolume(3785.411784, Metric), "3.79 L"}, {FormatVolume(4.93, Metric), "4.9 mL"},
		{FormatVolume(999.7, Metric), "1 L"}, {FormatVolume(9.97, Metric), "10 mL"}, {FormatVolume(0, Metric), "0 mL"}, {FormatVolume(25000, Metric), "25 L"},
		{FormatVolume(250, US), "8.45 fl oz"}, {FormatVolume(7.4, US), "1.5 tsp"}, {FormatVolume(2000, US), "2.11 qt"}, {FormatVolume(19000, US), "5.02 gal"},
		{FormatMass(250, Metric), "250 g"}, {FormatMass(2400, Metric), "2.4 kg"}, {FormatMass(0.25, Metric), "250 mg"},
		{FormatMass(250, US), "8.82 oz"}, {FormatMass(2400, US), "5.29 lb"},
		{FormatTemperature(20, US), "68 °F"}, {FormatTemperature(21.46, Metric), "21.5 °C"}, {FormatTemperature(-0.01, Metric), "0 °C"},
		{FluidOuncesDown(250), "8.4 fl oz"}, {FluidOuncesDown(USCupML), "8.0 fl oz"}, {FluidOuncesDown(354.8), "11.9 fl oz"},
	} {
		if c.got != c.want {
			t.Errorf("got %q, want %q", c.got, c.want)
		}
	}
}

func TestCheckLogRanges(t *testing.T) {
	for _, c := range []struct {
		err   error
		field string
		say   string
	}{
		{CheckPH(32), "ph", "pH 32 is outside 0 to 14; did you mean 3.2?"},
		{CheckPH(-1), "ph", "rinsing"}, {CheckPH(PH(math.NaN())), "ph", "not a number"},
		{CheckCelsius(200), "temperature_c", "200 °F (93 °C)"}, {CheckCelsius(-40), "temperature_c", "thermometer"},
		{CheckGravity(1050), "specific_gravity", "did you mean 1.05?"}, {CheckGravity(0.5), "specific_gravity", "hydrometer"},
		{CheckBrix(120), "brix", "did you mean 12"}, {CheckABV(52), "abv_percent", "did you mean 5.2 % vol?"},
	} {
		wantFieldError(t, c.say, c.err, c.field, c.say)
	}
	for _, err := range []error{CheckPH(3.2), CheckCelsius(68), CheckGravity(1.05), CheckBrix(12), CheckABV(6)} {
		if err != nil {
			t.Error(err)
		}
	}
}

// wantFieldError checks that err is a *FieldError on field, a full sentence that contains say.
func wantFieldError(t *testing.T, what string, err error, field, say string) {
	t.Helper()
	var fe *FieldError
	if !errors.As(err, &fe) {
		t.Errorf("%s: %v is not a *FieldError", what, err)
		return
	}
	if fe.Field != field || !strings.Contains(fe.Message, say) {
		t.Errorf("%s: field %q message %q; want %q with %q", what, fe.Field, fe.Message, field, say)
	}
	if !strings.HasSuffix(fe.Message, ".") && !strings.HasSuffix(fe.Message, "?") {
		t.Errorf("%s: %q is not a sentence", what, fe.Message)
	}
}
