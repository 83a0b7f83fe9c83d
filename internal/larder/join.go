package larder

import (
	"fmt"
	"slices"
	"time"

	"cruet/internal/chem"
)

// NewJoin pours one or several jars into one that stands on the shelf already.
// That jar stays what it is; those that gave all become empty.
type NewJoin struct {
	When  When // zero: now
	Note  string
	Pours []Pour // volume 0: all that the jar has
}

// Check says all that is wrong with joining these jars into that one so, and
// returns the pours with every volume filled in. jars are in the order of n.Pours.
func (n NewJoin) Check(into Jar, jars []Jar, now time.Time) ([]Pour, error) {
	var p Problems
	checkText(&p, "note", "The note", n.Note, MaxNoteRunes, false)
	p.AddError("when", n.When.Check("when", now))
	if len(n.Pours) == 0 || len(n.Pours) > MaxLotJars {
		p.Add("jars", fmt.Sprintf("Say which jars are poured into this one: 1 to %d.", MaxLotJars))
	}
	switch s := into.State; {
	case !s.Stage.Live():
		p.Add("", retired(s.Stage))
	case !n.When.IsZero() && n.When.Before(s.StartedAt):
		p.Add("when", fmt.Sprintf("That is before jar %s was started. Check the date.", into.Tag))
	}
	pours, total := checkPours(&p, n.Pours, jars, n.When, into.Tag)
	if held := into.State.VolumeML; len(p) == 0 && held != nil && *held+total > into.SizeML+0.001 {
		p.Add("volume_ml", fmt.Sprintf("Jar %s holds %s at most and has %s in it; %s more does not fit.", into.Tag,
			chem.FormatVolume(into.SizeML, chem.Metric), chem.FormatVolume(*held, chem.Metric), chem.FormatVolume(total, chem.Metric)))
	} else if len(p) == 0 && total > into.SizeML+0.001 {
		p.Add("volume_ml", fmt.Sprintf("Jar %s holds %s at most; %s does not fit.", into.Tag, chem.FormatVolume(into.SizeML, chem.Metric), chem.FormatVolume(total, chem.Metric)))
	}
	return pours, p.Err()
}

// checkPours checks what each jar is to give, and fills in the volumes of those
// that give all. into is the jar that gets it, empty for a new one.
func checkPours(p *Problems, asked []Pour, jars []Jar, when When, into Tag) (pours []Pour, total chem.Millilitres) {
	pours = slices.Clone(asked)
	seen := map[Tag]bool{}
	for i, jar := range jars {
		switch {
		case jar.Tag == into:
			p.Add("jars", "Jar "+string(jar.Tag)+" cannot be poured into itself.")
		case seen[jar.Tag]:
			p.Add("jars", "Jar "+string(jar.Tag)+" is named twice; a jar cannot be blended with itself.")
		}
		seen[jar.Tag] = true
		checkGiver(p, "jars", jar, when)
		pours[i].VolumeML = pourOf(p, pours[i].VolumeML, jar)
		total += pours[i].VolumeML
	}
	return pours, total
}
