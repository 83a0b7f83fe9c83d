package labels

import (
	"image"
	"math"
	"math/rand/v2"
)

// shot is one simulated photograph of a printed label: what went wrong with
// the print, how the label lies, and what the camera did. It is a calibration
// of our layouts against each other, not of real jars.
type shot struct {
	dpi        int     // of the printer
	gain       float64 // of ink over paper's edges, in parts of a module, negative for starved prints
	stain      float64 // part of the symbol covered
	diameterMM float64 // of the jar; 0 is flat
	turnDeg    float64 // round the jar's axis, or of a flat label
	tiltDeg    float64 // upwards
	blurPx     float64
	noise      float64 // standard deviation of 255
	shade      float64 // light lost from one side to the other, in parts
	rollDeg    float64 // of the camera, beyond what a hand does
	zoom       float64 // of the camera, times pxPerMM; 0 is 1
	glare      float64 // light of a lamp mirrored on the label, in parts of white at its middle
	drops      float64 // part of the symbol under drops of water
}

const (
	cameraMM = 180.0 // from lens to label
	pxPerMM  = 8.0   // on the label: 4.8 pixels a module of 0.6 mm
)

// target is a printed code: its label's picture, and where the code lies.
type target struct {
	text     string
	picture  *image.Gray
	perMM    float64
	xMM, yMM float64 // of the code's middle
	sideMM   float64 // of the symbol
	moduleMM float64
}

// photograph is one frame of a phone's view of a target. The same accidents
// befall the label in all frames; the hand and the noise differ.
func photograph(p target, s shot, seed uint64, frame int) *image.Gray {
	accidents, rnd := rand.New(rand.NewPCG(seed, 7)), rand.New(rand.NewPCG(seed, 100+uint64(frame)))
	half := (p.sideMM/2 + 5*p.moduleMM) * 1.15
	scale := pxPerMM * max(s.zoom, 1) * (0.9 + 0.2*rnd.Float64()) // nobody holds a phone at the same distance twice
	n := int(2 * half * scale)
	out := make([]float64, n*n)
	stains, drops := newStains(p, s.stain, accidents), newStains(p, s.drops, accidents)
	lampX, lampY := (accidents.Float64()-0.5)*p.sideMM, (accidents.Float64()-0.5)*p.sideMM
	shiftX, shiftY, roll := rnd.Float64()-0.5, rnd.Float64()-0.5, (rnd.Float64()-0.5)*0.2+s.rollDeg*math.Pi/180
	aim := s.diameterMM / 2 * math.Sin(s.turnDeg*math.Pi/180) // at the code, wherever it has turned to
	pose, sinRoll, cosRoll := s.pose(), math.Sin(roll), math.Cos(roll)
	for v := range n {
		for u := range n {
			x0, y0 := (float64(u)+shiftX)/scale-half, (float64(v)+shiftY)/scale-half
			x, y := x0*cosRoll-y0*sinRoll, x0*sinRoll+y0*cosRoll
			light := 225.0 * (1 - s.shade*float64(u)/float64(n))
			lx, ly, ok := pose.onLabel(x+aim, y)
			if !ok {
				out[v*n+u] = 60
				continue
			}
			dim := stains.dim(lx, ly)
			lx, ly, wet := drops.bend(lx, ly)
			lamp := 255 * s.glare * math.Exp(-(math.Pow(x-lampX, 2)+math.Pow(y-lampY, 2))/(2*math.Pow(p.sideMM/5, 2)))
			out[v*n+u] = math.Min(255, light*dim*wet*(0.08+0.92*p.area(lx, ly, 1/scale, s.gain))+lamp)
		}
	}
	out = blur(out, n, math.Hypot(0.7, s.blurPx))
	img := image.NewGray(image.Rect(0, 0, n, n))
	for i, v := range out {
		img.Pix[i] = byte(math.Max(0, math.Min(255, v+rnd.NormFloat64()*math.Hypot(3, s.noise))))
	}
	return img
}

// pose is how a label lies before the camera.
type pose struct {
	diameterMM                           float64
	turn, sinTurn, cosTurn, sinTi, cosTi float64
}

func (s shot) pose() pose {
	turn, tilt := s.turnDeg*math.Pi/180, s.tiltDeg*math.Pi/180
	return pose{s.diameterMM, turn, math.Sin(turn), math.Cos(turn), math.Sin(tilt), math.Cos(tilt)}
}

// onLabel follows the ray through x, y (mm, on a plane square to the camera at
// the label's middle) to a place on the label, in mm from the code's middle.
func (p pose) onLabel(x, y float64) (lx, ly float64, ok bool) {
	// Tilt: turn the ray about the level axis through the label's middle.
	ox, oy, oz := 0.0, -cameraMM*p.sinTi, -cameraMM*p.cosTi
	dx, dy, dz := x, y*p.cosTi+cameraMM*p.sinTi, -y*p.sinTi+cameraMM*p.cosTi
	if p.diameterMM == 0 {
		// A flat label turned about the upright axis.
		k := -(p.sinTurn*ox + p.cosTurn*oz) / (p.sinTurn*dx + p.cosTurn*dz)
		px, py, pz := ox+k*dx, oy+k*dy, oz+k*dz
		return px*p.cosTurn - pz*p.sinTurn, py, k > 0
	}
	r := p.diameterMM / 2 // the jar's axis stands at z = r
	a, b, c := dx*dx+dz*dz, ox*dx+(oz-r)*dz, ox*ox+(oz-r)*(oz-r)-r*r
	disc := b*b - a*c
	if disc <= 0 {
		return 0, 0, false
	}
	k := (-b - math.Sqrt(disc)) / a
	px, pz := ox+k*dx, oz+k*dz
	return r * (math.Atan2(px, r-pz) - p.turn), oy + k*dy, true
}

// area is the whiteness that a camera's pixel of a width in mm sees: where the
// printer's dots are finer than that, several places', not one's.
func (p target) area(xMM, yMM, wMM, gain float64) (sum float64) {
	n := max(1, int(math.Round(p.perMM*wMM)))
	for i := range n {
		for j := range n {
			sum += p.paper(xMM+wMM*((float64(i)+0.5)/float64(n)-0.5), yMM+wMM*((float64(j)+0.5)/float64(n)-0.5), gain)
		}
	}
	return sum / float64(n*n)
}

// paper is the whiteness of a place on the label, ink grown or shrunk.
func (p target) paper(xMM, yMM, gain float64) float64 {
	at := func(x, y float64) float64 {
		px, py := (p.xMM+x)*p.perMM-0.5, (p.yMM+y)*p.perMM-0.5
		x0, y0 := int(math.Floor(px)), int(math.Floor(py))
		fx, fy := px-float64(x0), py-float64(y0)
		get := func(x, y int) float64 {
			if !(image.Point{X: x, Y: y}.In(p.picture.Rect)) {
				return 1
			}
			return float64(p.picture.Pix[y*p.picture.Stride+x]) / 255
		}
		return (get(x0, y0)*(1-fx)+get(x0+1, y0)*fx)*(1-fy) + (get(x0, y0+1)*(1-fx)+get(x0+1, y0+1)*fx)*fy
	}
	w := at(xMM, yMM)
	if gain == 0 {
		return w
	}
	d := math.Abs(gain) * p.moduleMM / 2
	for _, o := range [][2]float64{{d, 0}, {-d, 0}, {0, d}, {0, -d}} {
		if v := at(xMM+o[0], yMM+o[1]); gain > 0 {
			w = math.Min(w, v)
		} else {
			w = math.Max(w, v)
		}
	}
	return w
}

// stains are splashes on the symbol, outside its three finders, which no code
// does without.
type stainList [][3]float64 // x, y, radius in mm

func newStains(p target, part float64, rnd *rand.Rand) stainList {
	var list stainList
	left := part * p.sideMM * p.sideMM
	for tries := 0; left > 0 && tries < 200; tries++ {
		r := p.moduleMM * (1 + rnd.Float64()*1.2)
		x, y := (rnd.Float64()-0.5)*p.sideMM, (rnd.Float64()-0.5)*p.sideMM
		edge := p.sideMM/2 - 8*p.moduleMM - r
		if math.Abs(x) > edge && math.Abs(y) > edge && !(x > 0 && y > 0) {
			continue
		}
		list = append(list, [3]float64{x, y, r})
		left -= math.Pi * r * r
	}
	return list
}

// dim is how much light a stain lets back.
func (l stainList) dim(x, y float64) float64 {
	for _, s := range l {
		if math.Hypot(x-s[0], y-s[1]) < s[2] {
			return 0.35
		}
	}
	return 1
}

// bend is what is seen through a drop of water: the label beneath, larger, with a
// dark rim and a spot of light on it; the factor is how light it is.
func (l stainList) bend(x, y float64) (lx, ly, light float64) {
	for _, s := range l {
		dx, dy := x-s[0], y-s[1]
		part := math.Hypot(dx, dy) / s[2]
		switch {
		case part >= 1:
			continue
		case part > 0.85:
			return s[0] + 0.7*dx, s[1] + 0.7*dy, 0.6
		case math.Hypot(dx+s[2]/3, dy+s[2]/3) < s[2]/5:
			return s[0] + 0.7*dx, s[1] + 0.7*dy, 3
		}
		return s[0] + 0.7*dx, s[1] + 0.7*dy, 0.95
	}
	return x, y, 1
}

func blur(in []float64, n int, sigma float64) []float64 {
	r := int(3*sigma + 1)
	kernel, sum := make([]float64, 2*r+1), 0.0
	for i := range kernel {
		kernel[i] = math.Exp(-float64((i-r)*(i-r)) / (2 * sigma * sigma))
		sum += kernel[i]
	}
	pass := func(in []float64, step, other int) []float64 {
		out := make([]float64, len(in))
		for line := range n {
			for i := range n {
				acc := 0.0
				for k, w := range kernel {
					j := min(max(i+k-r, 0), n-1)
					acc += w * in[line*other+j*step]
				}
				out[line*other+i*step] = acc / sum
			}
		}
		return out
	}
	return pass(pass(in, 1, n), n, 1)
}
