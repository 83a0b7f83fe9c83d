package labels

import (
	"fmt"
	"html"
	"strings"
)

// CodeSVG draws the code of text for a screen, with its quiet zone, black on
// white whatever the page's colours. title says what it is to whoever cannot
// see it.
func CodeSVG(text, title string) (string, error) {
	code, err := NewCode(text, LevelM)
	if err != nil {
		return "", err
	}
	var b strings.Builder
	side := code.Size() + 2*QuietModules
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %d %d" role="img" shape-rendering="crispEdges"><title>%s</title><path fill="#fff" d="M0 0h%dv%dH0z"/><path d="`,
		side, side, html.EscapeString(title), side, side)
	for _, r := range code.runs() {
		fmt.Fprintf(&b, "M%d %dh%dv%dh-%dz", r.x+QuietModules, r.y+QuietModules, r.w, r.h, r.w)
	}
	b.WriteString(`"/></svg>`)
	return b.String(), nil
}
