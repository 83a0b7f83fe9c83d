package forecast

import (
	"math"
	"math/rand/v2"
	"time"

	"cruet/internal/chem"
)

// A simulated jar, built from the kinetics of acetic bacteria and of gas at a
// liquid's surface. It shares no formula with the forecast: here a film of
// cells grows on alcohol and air, there a ramp with two shoulders is laid
// through titrations. One published constant stands behind both, the half
// saturation of 3.7 g/L: it shapes the film's end here and the prior of the end
// shoulder there. The air flux below was set so that jars take the published
// three to nine weeks, and the lag prior was widened after the cool jars of this
// file showed it too narrow; so these figures are not a blind result.
//
// Sources, by equation:
//   - growth on ethanol with substrate inhibition E/(Ks+E+E²/Ki), product
//     inhibition 1/(1+(A/Ka)^4) and Monod in dissolved oxygen: the form of
//     Romero et al., Chem. Eng. J. 54 (1994) B15, and Jiménez-Hornero et al.,
//     Biochem. Eng. J. 45 (2009) 1; Ks 3.7, Ki 16, Ka 100 g/L and Ko 0.3 mg/L
//     from memory of the latter
//   - specific growth rate 0.16 1/h at 30 °C and 95 % yield on ethanol, with
//     growth on the acid afterwards: Appl. Microbiol. Biotechnol. 51 (1999) 841
//     (A. aceti, abstract read); 0.021 1/h: Ghosh et al., Braz. J. Chem. Eng.
//     29 (2012) 461 (abstract read). Drawn log-uniform from 0.04 to 0.16, as the
//     lower figure already holds the inhibition that is reckoned here. The rate
//     at which acid is burnt is a guess, 0.01-0.3 g/L per day
//   - cardinal temperature curve: Rosso et al., J. Theor. Biol. 162 (1993) 447,
//     from memory; 6, 30 and 38 °C for Acetobacter from memory of handbooks
//   - oxygen solubility about 8.3 mg/L at 25 °C; stoichiometry 60.05 g acid
//     and 46.07 g ethanol per 32.00 g oxygen
//   - transfer through a still surface: no published figure for a kitchen jar
//     was found. The acid flux, 4-12 g/m² per hour, is set so that the middle
//     80 % of jars 8-16 cm deep take the published three weeks (Ohio State
//     HYG-5346) to two months (McGee, On Food and Cooking)
//   - water lost through the cloth 0.03-0.15 % per day: from memory of kitchen
//     weighings, no published source. Ethanol leaves 5-10 times as readily as
//     water (relative volatility about 12 at high dilution, times the ratio of
//     the diffusivities in air, 0.12/0.25 cm²/s), acid 0.6 times: from memory
//     of vapour-liquid tables
type simJar struct {
	alcoholVol, starterAcid float64 // % vol; g/100 mL at the start
	cells                   float64 // g/L at the start
	muPerDay                float64 // at 30 °C, uninhibited
	cellYield               float64 // g cells per g acid
	fluxGPerM2H             float64 // acid the surface can air, at C = 0
	depthM                  float64
	tempC                   float64
	waterLoss               float64   // share of the volume per day
	ethanolVolatility       float64   // relative to water
	acidYield               float64   // of the ethanol oxidised; the rest builds cells and film
	overoxidation           float64   // g/L per day once alcohol is gone
	sunkDay, sunkDays       float64   // the film sinks and closes again
	sunkAir                 float64   // share of the air that passes meanwhile
	acid                    []float64 // g/100 mL every stepDays
}

const (
	simStepDays = 1.0 / 8
	simDays     = 300
	oxygenMGL   = 8.3
)

func uniform(r *rand.Rand, low, high float64) float64 { return low + (high-low)*r.Float64() }

func logUniform(r *rand.Rand, low, high float64) float64 {
	return low * math.Exp(r.Float64()*math.Log(high/low))
}

// drawJar makes a jar of a warm kitchen with live starter, as home-vinegar
// directions ask for.
func drawJar(r *rand.Rand) *simJar {
	j := drawUnrun(r)
	j.run(r)
	return j
}

// drawCellarJar makes a jar outside those directions: cool, deep, and with
// little live starter.
func drawCellarJar(r *rand.Rand) *simJar {
	j := drawUnrun(r)
	j.tempC = uniform(r, 14, 19)
	j.cells *= 0.3
	j.depthM *= 1.5
	j.run(r)
	return j
}

// drawOverdoneJar makes a jar whose bacteria burn the acid briskly once the
// alcohol is gone.
func drawOverdoneJar(r *rand.Rand) *simJar {
	j := drawUnrun(r)
	j.overoxidation = uniform(r, 0.3, 0.6)
	j.run(r)
	return j
}

// drawStuckJar makes a jar whose film goes under half way and stays there.
func drawStuckJar(r *rand.Rand) *simJar {
	j := drawUnrun(r)
	j.sunkDay, j.sunkDays, j.sunkAir = uniform(r, 12, 18), simDays, 0.02
	j.run(r)
	return j
}

func drawUnrun(r *rand.Rand) *simJar {
	starter := uniform(r, 0.15, 0.33) // share of live 5 % vinegar: 1:6 to 1:2
	j := &simJar{
		alcoholVol:        uniform(r, 5, 9) * (1 - starter),
		starterAcid:       5*starter + uniform(r, 0.2, 0.6)*(1-starter),
		cells:             logUniform(r, 0.003, 0.03),
		muPerDay:          24 * logUniform(r, 0.04, 0.16),
		cellYield:         uniform(r, 0.02, 0.05),
		fluxGPerM2H:       logUniform(r, 4, 12),
		depthM:            uniform(r, 0.08, 0.16),
		tempC:             uniform(r, 18, 27),
		waterLoss:         logUniform(r, 0.0003, 0.0015),
		ethanolVolatility: uniform(r, 5, 10),
		acidYield:         uniform(r, 0.92, 0.98),
		overoxidation:     logUniform(r, 0.01, 0.3),
		sunkDay:           math.Inf(1),
		sunkAir:           0.25,
	}
	if r.Float64() < 0.1 {
		j.sunkDay, j.sunkDays = uniform(r, 10, 40), uniform(r, 4, 12)
	}
	return j
}

// cardinal is Rosso's curve, 1 at the optimum and 0 outside the limits.
func cardinal(t, low, best, high float64) float64 {
	if t <= low || t >= high {
		return 0
	}
	top := (t - high) * (t - low) * (t - low)
	return top / ((best - low) * ((best-low)*(t-best) - (best-high)*(best+low-2*t)))
}

// run integrates the jar.
func (j *simJar) run(r *rand.Rand) {
	acid := 10 * j.starterAcid
	ethanol := 7.8924 * j.alcoholVol // g/L
	cells, swing := j.cells, 0.0
	const acidPerOxygen, ethanolPerAcid = 60.052 / 31.998, 46.069 / 60.052
	supply := j.fluxGPerM2H * 24 / j.depthM / 1000 / acidPerOxygen // g O2/L/day at C=0
	for step := range int(simDays / simStepDays) {
		j.acid = append(j.acid, acid/10)
		day := float64(step) * simStepDays
		swing += -0.2*swing*simStepDays + 0.8*math.Sqrt(simStepDays)*r.NormFloat64() // weather
		warm := cardinal(j.tempC+swing, 6, 30, 38)
		mu := j.muPerDay * warm * ethanol / (3.7 + ethanol + ethanol*ethanol/16) / (1 + math.Pow(acid/100, 4))
		air := supply
		if day > j.sunkDay && day < j.sunkDay+j.sunkDays {
			air *= j.sunkAir
		}
		// Dissolved oxygen where transfer meets demand: supply (1-x) =
		// demand x/(k+x), x = C/C*.
		demand := mu * cells / j.cellYield / acidPerOxygen
		k := 0.325 / oxygenMGL
		b := air*(k-1) + demand
		x := (-b + math.Sqrt(b*b+4*air*air*k)) / (2 * air)
		made := demand * x / (k + x) * acidPerOxygen // g acid/L/day
		growth := made * j.cellYield
		burnt := j.overoxidation * warm / (1 + ethanol/0.5)
		acid += simStepDays * (j.acidYield*made - burnt + acid*j.waterLoss*(1-0.6))
		ethanol += simStepDays * (-made*ethanolPerAcid - ethanol*j.waterLoss*(j.ethanolVolatility-1))
		ethanol, acid = max(0, ethanol), max(0, acid)
		cells += simStepDays * (growth - 0.01*cells)
	}
}

func (j *simJar) at(day float64) float64 {
	i := int(day / simStepDays)
	return j.acid[min(max(i, 0), len(j.acid)-1)]
}

// ceiling is the stoichiometric ceiling the maker is told.
func (j *simJar) ceiling() float64 { return j.starterAcid + 1.0288*j.alcoholVol }

// finish is the true day on which the target is reached, or else, for a jar
// that never does, the day from which four more weeks add less than 0.1 g/100 mL.
func (j *simJar) finish(target float64) (day float64, reached bool) {
	const fourWeeks = int(28 / simStepDays)
	if target > 0 {
		for i, a := range j.acid {
			if a >= target {
				return float64(i) * simStepDays, true
			}
		}
	}
	halfway := j.starterAcid + 0.5*(j.ceiling()-j.starterAcid)
	for i := 0; i+fourWeeks < len(j.acid); i++ {
		if j.acid[i] > halfway && j.acid[i+fourWeeks]-j.acid[i] < 0.1 {
			return float64(i) * simStepDays, false
		}
	}
	return math.Inf(1), false
}

var simStart = time.Date(2031, 3, 1, 9, 0, 0, 0, time.UTC)

func simTime(day float64) time.Time {
	return simStart.Add(time.Duration(day * 24 * float64(time.Hour)))
}

// titrate makes an input of n titrations a week apart from a first day.
func (j *simJar) titrate(r *rand.Rand, first float64, n int, target float64) Input {
	base := 1 + 0.008*r.NormFloat64() // the base's own error, the same each week
	temp := chem.Celsius(math.Round(j.tempC))
	in := Input{
		StartedAceticAt:     simStart,
		CeilingGPer100ML:    chem.GramsPer100ML(j.ceiling()),
		LikelyLowGPer100ML:  chem.GramsPer100ML(j.starterAcid + 0.75*1.0288*j.alcoholVol),
		LikelyHighGPer100ML: chem.GramsPer100ML(j.starterAcid + 0.90*1.0288*j.alcoholVol),
		TargetGPer100ML:     chem.GramsPer100ML(target),
		TempC:               &temp,
	}
	for i := range n {
		day := first + 7*float64(i) + uniform(r, -0.5, 0.5)
		truth := j.at(day)
		u := math.Hypot(0.03, 0.015*truth)
		read := truth*base + u*r.NormFloat64()
		in.Points = append(in.Points, Point{
			At:               simTime(day),
			AcidityGPer100ML: chem.GramsPer100ML(max(0, read)),
			StdUGPer100ML:    chem.GramsPer100ML(math.Hypot(u, 0.008*truth)),
		})
		in.Now = simTime(day)
	}
	return in
}
