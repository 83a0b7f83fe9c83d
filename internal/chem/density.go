package chem

import "math"

// WaterDensity is the density of air-free water in kg/m3 at 101.325 kPa, 0 to 40 °C: Tanaka et al.,
// Metrologia 38 (2001) 301, the formula recommended by the CIPM.
func WaterDensity(t Celsius) (float64, error) {
	if err := check("water.temperature_c", float64(t)); err != nil {
		return 0, err
	}
	return waterDensity(float64(t)), nil
}

func waterDensity(t float64) float64 {
	d := t - 3.983035
	return 999.974950 * (1 - d*d*(t+301.797)/(522528.9*(t+69.34881)))
}

// Fit of the sucrose table of NBS Circular C440 (Bates 1942; USDA 135-A-50, apparent specific gravity
// 20/20 °C), 0 to 40 °Bx, to 0.003 °Bx: B = a S + b - c/S. It can be solved exactly both ways.
const (
	brixA = 28.14203
	brixB = 202.4427
	brixC = 230.5870
)

// BrixFromGravity is the sugar content of a solution of sucrose in water, no alcohol, from its
// specific gravity (1.000 to 1.178).
func BrixFromGravity(s SpecificGravity) (DegreesBrix, error) {
	if err := check("sugar.specific_gravity", float64(s)); err != nil {
		return 0, err
	}
	// At S = 1 the fit is 0.002 °Bx low.
	return DegreesBrix(math.Max(0, brixA*float64(s)+brixB-brixC/float64(s))), nil
}

// GravityFromBrix is the inverse of BrixFromGravity, 0 to 40 °Bx.
func GravityFromBrix(b DegreesBrix) (SpecificGravity, error) {
	if err := check("brix", float64(b)); err != nil {
		return 0, err
	}
	k := brixB - float64(b)
	return SpecificGravity((-k + math.Sqrt(k*k+4*brixA*brixC)) / (2 * brixA)), nil
}

// PlatoFromGravity is the extract in °P by the polynomial fit of the ASBC table, good to 25 °P.
func PlatoFromGravity(s SpecificGravity) (float64, error) {
	if err := check("plato.specific_gravity", float64(s)); err != nil {
		return 0, err
	}
	return math.Max(0, platoPolynomial(float64(s))), nil
}

// platoPolynomial is the ASBC fit: 135.997 S^3 - 630.272 S^2 + 1111.14 S - 616.868.
func platoPolynomial(s float64) float64 {
	return ((135.997*s-630.272)*s+1111.14)*s - 616.868
}

// GravityFromPlato is the inverse of PlatoFromGravity, 0 to 25 °P.
func GravityFromPlato(p float64) (SpecificGravity, error) {
	if err := check("plato", p); err != nil {
		return 0, err
	}
	lo, hi := 0.99, 1.12 // the polynomial rises over the whole bracket
	for range 60 {
		mid := (lo + hi) / 2
		if platoPolynomial(mid) < p {
			lo = mid
		} else {
			hi = mid
		}
	}
	return SpecificGravity((lo + hi) / 2), nil
}

// Density of air at 20 °C and of water, in g/mL: the step from apparent gravity to true density.
const (
	airGPerML     = 0.0012
	water20GPerML = 0.998203 // Tanaka 2001; apparent gravity is a ratio of weights in air
)

// DensityFromGravity is the true density in g/mL at 20 °C of what shows this specific gravity.
func DensityFromGravity(s SpecificGravity) float64 {
	return float64(s)*(water20GPerML-airGPerML) + airGPerML
}

// DensityFromBrix is the true density in g/mL at 20 °C of a sucrose solution, 0 to 40 °Bx.
func DensityFromBrix(b DegreesBrix) (float64, error) {
	s, err := GravityFromBrix(b)
	if err != nil {
		return 0, err
	}
	return DensityFromGravity(s), nil
}

// SugarGPerL is the sugar in g/L of a solution of b °Bx: mass fraction times density, so 10 °Bx is
// 103.8 g/L, not 100.
func SugarGPerL(b DegreesBrix) (float64, error) {
	rho, err := DensityFromBrix(b)
	return 10 * float64(b) * rho, err
}

// PoundsPerUSGallon is the weight in air at 20 °C, lb per US gallon, of a sucrose solution.
func PoundsPerUSGallon(b DegreesBrix) (float64, error) {
	rho, err := DensityFromBrix(b)
	if err != nil {
		return 0, err
	}
	// Weights are of brass, 8.4 g/mL, and displace air too.
	apparent := (rho - airGPerML) / (1 - airGPerML/8.4)
	return apparent * usGallonML / poundG, nil
}

// BrixFromRefractiveIndex reads a refractive index at 20 °C and 589 nm as °Bx: ICUMSA polynomial, in
// Horner form; with a five-digit index it lies about 0.02 °Bx low.
func BrixFromRefractiveIndex(n float64) (DegreesBrix, error) {
	if err := check("refractive_index", n); err != nil {
		return 0, err
	}
	return DegreesBrix(icumsa(n)), nil
}

func icumsa(n float64) float64 {
	return ((((11758.74*n-88885.21)*n+270177.93)*n-413145.80)*n+318417.95)*n - 99127.4536
}

// CorrectHydrometer gives the specific gravity at the hydrometer's own temperature from a reading in
// a sample at t. The liquid is taken to expand like water, which under-corrects a sugar solution over
// 10 °Bx by a few 0.0001; the glass is not corrected. 0 to 40 °C.
func CorrectHydrometer(reading SpecificGravity, t, calibration Celsius) (SpecificGravity, error) {
	if err := checkAll(in{"reading_sg", float64(reading)}, in{"hydrometer.temperature_c", float64(t)}, in{"calibration_c", float64(calibration)}); err != nil {
		return 0, err
	}
	return SpecificGravity(float64(reading) * waterDensity(float64(calibration)) / waterDensity(float64(t))), nil
}

// Gravity is a hydrometer reading to be corrected and read as sugar.
type Gravity struct {
	ReadingSG    SpecificGravity `json:"reading_sg"`
	TemperatureC Celsius         `json:"temperature_c"`
	CalibrationC Celsius         `json:"calibration_c,omitempty"` // 0 means 20 °C
}

// GravityResult is a corrected hydrometer reading. The sugar figures hold before fermentation only;
// HasSugar is false below 1.000, where alcohol must be present, HasPlato false outside 0 to 25 °P.
type GravityResult struct {
	SpecificGravity     SpecificGravity `json:"specific_gravity"`
	HasSugar            bool            `json:"has_sugar"`
	Brix                DegreesBrix     `json:"brix"`
	HasPlato            bool            `json:"has_plato"`
	Plato               float64         `json:"plato"`
	DensityGPerML       float64         `json:"density_g_per_ml"`
	SugarGPerL          float64         `json:"sugar_g_per_l"`
	PotentialABVPercent PercentVol      `json:"potential_abv_percent"`
	Notes               []string        `json:"notes,omitempty"`
	Explain             Explain         `json:"explain"`
}

// Result corrects the reading for temperature and converts it.
func (g Gravity) Result() (GravityResult, error) {
	if g.CalibrationC == 0 {
		g.CalibrationC = 20
	}
	s, err := CorrectHydrometer(g.ReadingSG, g.TemperatureC, g.CalibrationC)
	if err != nil {
		return GravityResult{}, err
	}
	r := GravityResult{SpecificGravity: s, DensityGPerML: DensityFromGravity(s)}
	if b, err := BrixFromGravity(s); err == nil {
		r.HasSugar, r.Brix = true, b
		r.SugarGPerL = 10 * float64(b) * r.DensityGPerML
		r.PotentialABVPercent = PercentVol(r.SugarGPerL / SugarGPerLPerPercentVol)
		r.Notes = append(r.Notes, "The sugar figures hold before fermentation; once there is alcohol or acid, gravity alone does not give sugar.")
	} else {
		r.Notes = append(r.Notes, "Below 1.000 there is alcohol in it (or no sugar to speak of), and above 1.178 the sugar table ends; gravity alone gives no sugar content here.")
	}
	if p, err := PlatoFromGravity(s); err == nil {
		r.HasPlato, r.Plato = true, p
	}
	if math.Abs(float64(g.TemperatureC-g.CalibrationC)) > 15 {
		r.Notes = append(r.Notes, "The sample is far from the hydrometer's temperature: bring it closer and read again for a surer figure.")
	}
	r.Explain = Explain{
		Formula: "S = reading × ρ(calibration) ÷ ρ(sample); °Bx = 28.14203 S + 202.4427 − 230.587 ÷ S; sugar g/L = 10 × °Bx × density",
		Values: []Given{{"reading", float64(g.ReadingSG), ""}, {"sample temperature", float64(g.TemperatureC), "°C"},
			{"hydrometer calibrated at", float64(g.CalibrationC), "°C"}, {"density", r.DensityGPerML, "g/mL"}},
		Source: "Water density: Tanaka et al., Metrologia 38 (2001) 301. Sugar: fit of the table of NBS Circular C440 (USDA 135-A-50). Plato: ASBC polynomial. Potential alcohol: 16.83 g/L per % vol (EU and OIV).",
		Limits: "0 to 40 °C; sugar 0 to 40 °Bx, Plato 0 to 25 °P; the liquid is taken to expand like water.",
	}
	return r, nil
}
