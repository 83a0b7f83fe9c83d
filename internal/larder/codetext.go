package larder

import (
	"net/url"
	"strconv"
	"strings"

	"cruet/internal/lazy"
)

// CodeText is what a code on a label says, taken apart.
type CodeText struct {
	Text    string // as it stands in the code
	Address string // HOST:PORT of the station that a link names; empty: no link
	Tag     Tag    // of a jar, a spare label or a bottle; empty: none
	LotID   string // of a bottle whose code holds its facts
	Bottle  int    // its number in the lot
}

// factsLot finds lot and bottle in a code of facts: "LOT L261125A/3. BOTTLED", or
// without the word where there was no room for it.
var factsLot = lazy.RE(`\b(L[0-9]{6}[A-Z]{1,3})/([0-9]{1,5})\. BOTTLED `)

// ReadCode takes a code's text apart: a link to a jar or bottle of this or another
// kitchen, the facts of a bottle, or a bare tag. A text that is none of these comes
// back alone.
func ReadCode(text string) CodeText {
	c := CodeText{Text: text}
	if m := factsLot().FindStringSubmatch(strings.ToUpper(text)); m != nil {
		c.LotID = m[1]
		c.Bottle, _ = strconv.Atoi(m[2]) // digits, and few
		return c
	}
	link, err := url.Parse(strings.TrimSpace(text))
	if err == nil && link.Host != "" && (strings.EqualFold(link.Scheme, "http") || strings.EqualFold(link.Scheme, "https")) {
		// The tag is the last step of the path, behind J or B.
		steps := strings.Split(strings.TrimRight(link.Path, "/"), "/")
		if n := len(steps); n >= 2 && (strings.EqualFold(steps[n-2], "J") || strings.EqualFold(steps[n-2], "B")) {
			if tag, _, err := ParseTag(steps[n-1]); err == nil {
				c.Address, c.Tag = strings.ToLower(link.Host), tag
			}
		}
		return c
	}
	if tag, taken, err := ParseTag(text); err == nil && len(taken) == 0 {
		c.Tag = tag
	}
	return c
}
