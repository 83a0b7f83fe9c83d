package larder

import (
	"crypto/rand"
	"fmt"
	"strings"
	"time"
	"unicode/utf8"
)

// Phone is who may write: a paired phone, or a program with a token.
type Phone struct {
	ID       int64     `json:"id"`
	Name     string    `json:"name"` // initials; they stand on the entries
	Program  bool      `json:"program,omitempty"`
	PairedAt time.Time `json:"paired_at"`
	SeenAt   time.Time `json:"seen_at"` // to the hour
}

// Writers says who may write.
type Writers string

// Who may write: paired phones, or whoever opens a page.
const (
	WritersPaired   Writers = "paired"
	WritersEveryone Writers = "everyone"
)

// Look says what a phone that is not paired may look at. A bottle's page is
// open to whoever holds the bottle, in any case.
type Look string

// What an unpaired phone may look at.
const (
	LookBottles Look = "bottles" // nothing but the page of a bottle in hand
	LookJars    Look = "jars"    // also the page of a jar whose label is scanned
	LookAll     Look = "all"     // the whole kitchen
)

// Access are the maker's rules of who may look and write.
type Access struct {
	Writers Writers `json:"writers"`
	Look    Look    `json:"look"`
	// IdleDays is how long a phone may write nothing before it is asked for the
	// passphrase again; 0 is the usual time.
	IdleDays int `json:"idle_days,omitempty"`
	// Passphrase tells that there is one.
	Passphrase bool `json:"passphrase"`
}

// DefaultAccess is that of a kitchen where nothing was set.
var DefaultAccess = Access{Writers: WritersPaired, Look: LookJars}

// DefaultIdleDays is how long a phone may rest before the passphrase is asked
// for, and longestIdleDays the longest that a maker may set.
const (
	DefaultIdleDays = 30
	longestIdleDays = 400
)

// Check says all that is wrong with a.
func (a Access) Check() error {
	var p Problems
	if a.Writers != WritersPaired && a.Writers != WritersEveryone {
		p.Add("writers", fmt.Sprintf("Who may write is %s or %s, not %q.", WritersPaired, WritersEveryone, a.Writers))
	}
	if a.Look != LookBottles && a.Look != LookJars && a.Look != LookAll {
		p.Add("look", fmt.Sprintf("What an unpaired phone may look at is %s, %s or %s, not %q.", LookBottles, LookJars, LookAll, a.Look))
	}
	if a.IdleDays < 0 || a.IdleDays > longestIdleDays {
		p.Add("idle_days", fmt.Sprintf("A phone may rest for 1 to %d days before the passphrase is asked for; %d is usual.", longestIdleDays, DefaultIdleDays))
	}
	return p.Err()
}

// Visitor is who asks for a page, by the rules then in force.
type Visitor struct {
	Access  Access
	Phone   *Phone    // nil: not paired
	WroteAt time.Time // when the phone last wrote, or said the passphrase
}

// Need is what a visitor has to do before something is allowed.
type Need string

// What may be asked of a visitor.
const (
	NeedPairing    Need = "pairing"
	NeedPassphrase Need = "passphrase"
)

// AccessError says that this visitor may not, and what to do about it.
type AccessError struct{ Need Need }

func (e *AccessError) Error() string {
	if e.Need == NeedPassphrase {
		return "This phone has written nothing for long. Say the kitchen's passphrase to go on."
	}
	return "This phone is not paired with the kitchen. Pair it by a code from a paired phone, or from the station's terminal."
}

// MayWrite is nil when the visitor may write at that time.
func (v Visitor) MayWrite(now time.Time) error {
	if v.Access.Writers == WritersEveryone {
		return nil
	}
	return v.MayManage(now)
}

// MayManage is nil when the visitor may change who may write, and how the
// kitchen is set up. That is never open to everyone.
func (v Visitor) MayManage(now time.Time) error {
	switch {
	case v.Phone == nil:
		return &AccessError{NeedPairing}
	case v.Access.Passphrase && !v.Phone.Program && now.Sub(v.WroteAt) > v.Access.idle():
		return &AccessError{NeedPassphrase}
	}
	return nil
}

func (a Access) idle() time.Duration {
	days := a.IdleDays
	if days == 0 {
		days = DefaultIdleDays
	}
	return time.Duration(days) * 24 * time.Hour
}

// MayLook is nil when the visitor may look: at a jar's page, or, when jar is
// false, at the rest of the kitchen.
func (v Visitor) MayLook(jar bool) error {
	if v.Phone != nil || v.Access.Writers == WritersEveryone || v.Access.Look == LookAll || jar && v.Access.Look == LookJars {
		return nil
	}
	return &AccessError{NeedPairing}
}

// NewPhone is a phone that asks to be paired.
type NewPhone struct {
	Code       string `json:"code"` // as typed
	Name       string `json:"name"`
	Passphrase string `json:"-"`
}

// Check says what is wrong with n before the code is looked at.
func (n NewPhone) Check() error {
	var p Problems
	if _, err := ParsePairingCode(n.Code); err != nil {
		p.AddError("code", err)
	}
	p.AddError("", CheckPhoneName(n.Name))
	return p.Err()
}

// CheckPhoneName says what is wrong with a phone's or program's name.
func CheckPhoneName(name string) error {
	var p Problems
	checkText(&p, "name", "The name, or your initials,", name, MaxByRunes, true)
	return p.Err()
}

// How long a code lasts: one shown on a paired phone is typed at once, one on
// the terminal of a station may wait for the phone to be found.
const (
	PairingCodeLife  = 10 * time.Minute
	TerminalCodeLife = 24 * time.Hour
)

// pairingCodeLength gives 25^8, more than 2^37 codes, of which a guesser who is
// let through ten times a minute has tried all of in ten million days.
const pairingCodeLength = 8

// NewPairingCode draws a code, in the characters of tags.
func NewPairingCode() (string, error) {
	// 250 is the largest multiple of the alphabet's 25 in a byte: what lies above
	// is drawn again, so that no character is likelier.
	const fair = 250
	code := make([]byte, 0, pairingCodeLength)
	var b [2 * pairingCodeLength]byte
	for len(code) < pairingCodeLength {
		if _, err := rand.Read(b[:]); err != nil {
			return "", fmt.Errorf("larder: drawing a code: %w", err)
		}
		for _, v := range b {
			if v < fair && len(code) < pairingCodeLength {
				code = append(code, tagAlphabet[int(v)%len(tagAlphabet)])
			}
		}
	}
	return string(code), nil
}

// ParsePairingCode reads a code as a person types it: either case, spaces and
// hyphens anywhere, look-alikes forgiven.
func ParsePairingCode(typed string) (string, error) {
	var b strings.Builder
	for _, r := range strings.ToUpper(strings.TrimSpace(typed)) {
		if r == '-' || r == ' ' {
			continue
		}
		if as, ok := lookAlikes[r]; ok {
			r = as
		}
		if !strings.ContainsRune(tagAlphabet, r) {
			return "", Refuse("code", fmt.Sprintf("A code never holds the character %q. Look at it again: digits and the letters C D F H J K M N P R T V W X Y.", r))
		}
		b.WriteRune(r)
	}
	switch n := b.Len(); {
	case n == 0:
		return "", Refuse("code", "The code is missing. A paired phone shows one on its page of phones; the station's terminal shows one by \"cruet phones pair\".")
	case n != pairingCodeLength:
		return "", Refuse("code", fmt.Sprintf("A code has %d characters, and this has %d.", pairingCodeLength, n))
	}
	return b.String(), nil
}

// SpacedCode is a code in two groups, for reading.
func SpacedCode(code string) string {
	if len(code) != pairingCodeLength {
		return code
	}
	return code[:pairingCodeLength/2] + "-" + code[pairingCodeLength/2:]
}

// The lengths of a passphrase. NIST SP 800-63B-4, 3.1.1.2: at least 15 characters
// where it stands alone, 8 where it is asked besides something held, as here the
// code or the phone; and no fewer than 64 must be allowed.
const (
	minPassphraseRunes = 8
	maxPassphraseRunes = 128
)

// CheckPassphrase says what is wrong with a passphrase that is to be set.
func CheckPassphrase(text string) error {
	switch n := utf8.RuneCountInString(text); {
	case !utf8.ValidString(text):
		return Refuse("passphrase", "The passphrase holds broken characters; type it again.")
	case n < minPassphraseRunes:
		return Refuse("passphrase", fmt.Sprintf("A passphrase has at least %d characters; a few words are easy to keep in mind.", minPassphraseRunes))
	case n > maxPassphraseRunes:
		return Refuse("passphrase", fmt.Sprintf("A passphrase has at most %d characters.", maxPassphraseRunes))
	}
	return nil
}

// PairLink is the text of a code that opens the page to pair a phone, spelled
// like a label's.
func PairLink(address, code string) string {
	return "http://" + strings.ToUpper(address) + "/PAIR/" + code
}
