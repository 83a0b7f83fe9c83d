package larder

import (
	"net/url"
	"strings"
)

// PublicLink is the address of a bottle's page where the maker publishes them,
// for its code: scheme and path as configured, the host in upper case, since
// its case does not matter and upper case packs better (ISO/IEC 18004). Empty
// when no public address is set.
func (k Kitchen) PublicLink(bottle Tag) string {
	u, err := url.Parse(k.PublicAddress)
	if err != nil || u.Host == "" {
		return ""
	}
	return u.Scheme + "://" + strings.ToUpper(u.Host) + strings.TrimRight(u.EscapedPath(), "/") + "/" + PublicFolder + "/" + string(bottle)
}

// PublicFolder is the folder, below the public address, of the bottles' pages.
const PublicFolder = "B"

func checkPublicAddress(p *Problems, text string) {
	const max = 60 // longer makes a code too dense for a bottle's label
	u, err := url.Parse(text)
	switch {
	case text == "":
	case err != nil || (u.Scheme != "http" && u.Scheme != "https") || u.Host == "" || u.RawQuery != "" || u.Fragment != "" || u.User != nil:
		p.Add("public_address", "The public address is where a web host carries the bottles' pages, like https://example.org/vinegar.")
	case len(text) > max:
		p.Add("public_address", "That public address is too long for a label's code: 60 characters at most.")
	}
}
