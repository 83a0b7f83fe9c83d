package larder

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"cruet/internal/chem"
)

// TakenBack says that a recorded gift did not happen, or came back unopened.
type TakenBack struct {
	Reason     string    `json:"reason"`
	By         string    `json:"by,omitempty"`
	RecordedAt time.Time `json:"recorded_at"`
}

// CheckTakeBack says whether the bottle's gift may be taken back.
func CheckTakeBack(bottle Bottle, reason string) error {
	var p Problems
	checkText(&p, "reason", "The reason", reason, MaxNoteRunes, true)
	if bottle.Gift == nil {
		p.Add("", "This bottle was not given to anyone, so there is nothing to take back.")
	}
	return p.Err()
}

// Recipient is somebody who got bottles.
type Recipient struct {
	Name    string `json:"name"`
	Bottles int    `json:"bottles"` // that they have; gifts taken back do not count
	Last    When   `json:"last"`
}

// Given is one gift with its bottle, taken back or not.
type Given struct {
	Bottle  Bottle `json:"bottle"` // its Gift is the gift
	LotName string `json:"lot_name"`
}

// NewLotHold puts a hold on a lot, or lifts it.
type NewLotHold struct {
	When   When // zero: now
	On     bool
	Reason string
	Note   string
}

// Check says all that is wrong with holding or releasing this lot so.
func (n NewLotHold) Check(lot Lot, now time.Time) error {
	var p Problems
	p.AddError("when", n.When.Check("when", now))
	checkText(&p, "reason", "The reason", n.Reason, MaxNoteRunes, true)
	checkText(&p, "note", "The note", n.Note, MaxNoteRunes, false)
	switch {
	case lot.Void:
		p.Add("", "The bottling of lot "+lot.ID+" was struck; there is nothing to hold.")
	case !n.On && lot.Hold == "":
		p.Add("", "Lot "+lot.ID+" is not on hold.")
	case !n.When.IsZero() && n.When.Before(lot.When):
		p.Add("when", "That is before the lot was bottled. Check the date.")
	}
	return p.Err()
}

// LotHold is one line of a lot's log: a hold put on it, or lifted.
type LotHold struct {
	Seq        int64     `json:"seq"`
	On         bool      `json:"on"`
	Reason     string    `json:"reason"`
	When       When      `json:"when"`
	Note       string    `json:"note,omitempty"`
	By         string    `json:"by,omitempty"`
	RecordedAt time.Time `json:"recorded_at"`
}

// Words is what the line says.
func (h LotHold) Words() string { return Words(Hold{On: h.On, Reason: h.Reason}, chem.Metric) }

// Held is a hold that stands on a jar or a lot.
type Held struct {
	Jar    Tag    `json:"jar,omitempty"`
	Lot    string `json:"lot,omitempty"`
	Reason string `json:"reason"`
	Since  When   `json:"since"`
}

// String names what is held and why: "jar K7RM40: white fur".
func (h Held) String() string {
	if h.Lot != "" {
		return "lot " + h.Lot + ": " + h.Reason
	}
	return "jar " + h.Jar.Spaced() + ": " + h.Reason
}

// standing names the holds that count for something done at that time.
func standing(held []Held, at When) []string {
	var out []string
	for _, h := range held {
		if !beforeHold(at, &h.Since) {
			out = append(out, h.String())
		}
	}
	return out
}

// CheckHeld refuses to bottle at a time what came from a held jar. of is the jar
// to be bottled; a hold on itself is refused by its own check.
func CheckHeld(of Tag, held []Held, at When) error {
	var p Problems
	for _, h := range held {
		if h.Jar != of && !beforeHold(at, &h.Since) {
			p.Add("jars", fmt.Sprintf("Something from jar %s, which is on hold: %s, went into jar %s. Nothing of it may be bottled until that hold is lifted.", h.Jar, h.Reason, of))
		}
	}
	return p.Err()
}

// GiftsTo are those of the gifts that went to somebody whose name holds the text,
// in either case; empty: to anyone. Those taken back are left out unless all is set.
func GiftsTo(gifts []Given, name string, all bool) []Given {
	name = strings.ToLower(strings.TrimSpace(name))
	return slices.DeleteFunc(gifts, func(g Given) bool {
		return (!all && g.Bottle.Gift.TakenBack != nil) || !strings.Contains(strings.ToLower(g.Bottle.Gift.To), name)
	})
}
