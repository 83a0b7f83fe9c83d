package forecast

import (
	"encoding/binary"
	"math"
	"sync"
	"time"
)

// The curves follow from the prior and the titrations alone, by a fixed seed, and
// drawing them takes far longer than all else on a jar's page, which is opened
// again and again between two titrations. So the newest draws are kept; whoever
// gets them only reads.
var remembered = struct {
	sync.Mutex
	curves map[string]*drawn
}{curves: map[string]*drawn{}}

// drawn are curves, and the steps that were last read off them.
type drawn struct {
	curves []curve

	sync.Mutex
	origin, from, to time.Time
	ahead            []Step
}

// steps are those of the times, read off once for the same ones and the same day 0.
func (d *drawn) steps(origin, from, to time.Time, read func() []Step) []Step {
	d.Lock()
	defer d.Unlock()
	if d.ahead == nil || !d.origin.Equal(origin) || !d.from.Equal(from) || !d.to.Equal(to) {
		d.origin, d.from, d.to, d.ahead = origin, from, to, read()
	}
	return d.ahead
}

// keptJars bounds what is remembered, about 20 kB each: more jars than a shelf holds.
const keptJars = 256

func (in Input) draws(rising []sample) *drawn {
	key := in.drawKey(rising)
	remembered.Lock()
	curves, ok := remembered.curves[key]
	remembered.Unlock()
	if ok {
		return curves
	}
	curves = &drawn{curves: newPrior(in).draws(rising)}
	remembered.Lock()
	defer remembered.Unlock()
	if len(remembered.curves) >= keptJars {
		for old := range remembered.curves { // whichever; it is drawn again when asked for
			delete(remembered.curves, old)
			break
		}
	}
	remembered.curves[key] = curves
	return curves
}

// drawKey is all that the draws depend on: what newPrior reads, and the samples.
func (in Input) drawKey(rising []sample) string {
	low, high := in.likely()
	tempC := math.NaN() // not known
	if in.TempC != nil {
		tempC = float64(*in.TempC)
	}
	start := 0.0
	if in.StartedAceticAt.IsZero() {
		start = 1
	}
	key := make([]byte, 0, 8*(5+3*len(rising)))
	add := func(v float64) { key = binary.LittleEndian.AppendUint64(key, math.Float64bits(v)) }
	for _, v := range []float64{float64(in.CeilingGPer100ML), low, high, tempC, start} {
		add(v)
	}
	for _, s := range rising {
		add(s.day)
		add(s.level)
		add(s.weight)
	}
	return string(key)
}
