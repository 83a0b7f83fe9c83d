package larder

import (
	"errors"
	"math"
	"net/url"
	"strings"
	"testing"
	"time"
)

func TestWhoMay(t *testing.T) {
	now := time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC)
	phone := &Phone{ID: 1, Name: "ro"}
	days := func(n int) time.Time { return now.AddDate(0, 0, -n) }
	for name, row := range map[string]struct {
		v                        Visitor
		jar, all, write, arrange Need
	}{
		"a stranger":                          {Visitor{Access: DefaultAccess}, "", NeedPairing, NeedPairing, NeedPairing},
		"a stranger, bottles only":            {Visitor{Access: Access{Writers: WritersPaired, Look: LookBottles}}, NeedPairing, NeedPairing, NeedPairing, NeedPairing},
		"a stranger, all open to look":        {Visitor{Access: Access{Writers: WritersPaired, Look: LookAll}}, "", "", NeedPairing, NeedPairing},
		"a stranger where everyone writes":    {Visitor{Access: Access{Writers: WritersEveryone, Look: LookBottles}}, "", "", "", NeedPairing},
		"a phone":                             {Visitor{Access: DefaultAccess, Phone: phone}, "", "", "", ""},
		"a phone that rested, no passphrase":  {Visitor{Access: DefaultAccess, Phone: phone, WroteAt: days(300)}, "", "", "", ""},
		"a phone that rested, a passphrase":   {Visitor{Access: Access{WritersPaired, LookJars, 0, true}, Phone: phone, WroteAt: days(31)}, "", "", NeedPassphrase, NeedPassphrase},
		"a phone in use, a passphrase":        {Visitor{Access: Access{WritersPaired, LookJars, 0, true}, Phone: phone, WroteAt: days(29)}, "", "", "", ""},
		"a phone in use, a short rest":        {Visitor{Access: Access{WritersPaired, LookJars, 7, true}, Phone: phone, WroteAt: days(8)}, "", "", NeedPassphrase, NeedPassphrase},
		"a program that rested, a passphrase": {Visitor{Access: Access{WritersPaired, LookJars, 0, true}, Phone: &Phone{Program: true}, WroteAt: days(300)}, "", "", "", ""},
	} {
		for what, one := range map[string]struct {
			got  error
			want Need
		}{"look at a jar": {row.v.MayLook(true), row.jar}, "look at all": {row.v.MayLook(false), row.all}, "write": {row.v.MayWrite(now), row.write}, "arrange": {row.v.MayManage(now), row.arrange}} {
			var need *AccessError
			if one.want == "" && one.got == nil {
				continue
			}
			if !errors.As(one.got, &need) || need.Need != one.want {
				t.Errorf("%s may %s: %v, want %q", name, what, one.got, one.want)
			}
		}
	}
}

// A drawn code is read back however it is typed, and every character of the
// alphabet is as likely: Pearson's chi-squared with 24 degrees of freedom stays
// below 51.18 in 999 of 1,000 draws (NIST/SEMATECH e-Handbook of Statistical
// Methods, 1.3.6.7.4); twice that in a few of 10^10.
func TestPairingCodes(t *testing.T) {
	seen, counts := map[string]bool{}, map[rune]float64{}
	const draws = 5000
	for range draws {
		code, err := NewPairingCode()
		if err != nil || seen[code] {
			t.Fatalf("%q, %v, seen before: %v", code, err, seen[code])
		}
		seen[code] = true
		for _, r := range code {
			counts[r]++
		}
		for _, typed := range []string{code, strings.ToLower(code), SpacedCode(code), " " + code[:3] + " " + code[3:] + " "} {
			if got, err := ParsePairingCode(typed); err != nil || got != code {
				t.Fatalf("%q is read as %q, %v", typed, got, err)
			}
		}
	}
	expected, chi := float64(draws*pairingCodeLength)/float64(len(tagAlphabet)), 0.0
	for _, r := range tagAlphabet {
		chi += math.Pow(counts[r]-expected, 2) / expected
	}
	if chi > 2*51.18 || len(counts) != len(tagAlphabet) {
		t.Errorf("chi-squared %.1f over %d characters", chi, len(counts))
	}
	if got, err := ParsePairingCode("oiLz-5gBu"); err != nil || got != "0112568V" {
		t.Errorf("look-alikes are read as %q, %v", got, err)
	}
	for _, wrong := range []string{"", "  ", "1234567", "123456789", "1234567!", "A2345678"} {
		var p Problems
		if _, err := ParsePairingCode(wrong); !errors.As(err, &p) || p[0].Field != "code" {
			t.Errorf("%q is read with %v", wrong, err)
		}
	}
}

func TestPhoneChecks(t *testing.T) {
	for _, a := range []Access{{}, {Writers: "some", Look: LookAll}, {Writers: WritersPaired, Look: "none"}, {WritersPaired, LookAll, -1, false}, {WritersPaired, LookAll, 401, false}} {
		if a.Check() == nil {
			t.Errorf("%+v is accepted", a)
		}
	}
	if err := DefaultAccess.Check(); err != nil {
		t.Error(err)
	}
	for _, n := range []NewPhone{{}, {Code: "12345678"}, {Name: "ro"}, {Code: "12345678", Name: strings.Repeat("x", MaxByRunes+1)}, {Code: "12345678", Name: "a\nb"}} {
		if n.Check() == nil {
			t.Errorf("%+v is accepted", n)
		}
	}
	for _, text := range []string{"short", strings.Repeat("x", 129), "eight\xff\xff\xff"} {
		if CheckPassphrase(text) == nil {
			t.Errorf("the passphrase %q is accepted", text)
		}
	}
	if err := CheckPassphrase("pears in the cellar"); err != nil {
		t.Error(err)
	}
}

// Whatever is read as a code is one: 8 characters of the alphabet, which read back
// as themselves.
func FuzzParsePairingCode(f *testing.F) {
	for _, seed := range []string{"K7RM4T12", "k7rm-4t12", " k7rm 4t12 ", "OIlz5gBu", "", "-", "K7RM4T1", "K7RM4T123", "ｋ7RM4T12", "K7RM4T1\x00", "\xff"} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, typed string) {
		code, err := ParsePairingCode(typed)
		if err != nil {
			var p Problems
			if code != "" || !errors.As(err, &p) || p[0].Message == "" {
				t.Fatalf("%q: %q, %v", typed, code, err)
			}
			return
		}
		if again, err := ParsePairingCode(SpacedCode(code)); err != nil || again != code || len(code) != pairingCodeLength {
			t.Fatalf("%q is read as %q, and that as %q, %v", typed, code, again, err)
		}
	})
}

// An address that is accepted can stand in a label's code, and is a host and a port.
func FuzzCheckAddress(f *testing.F) {
	for _, seed := range []string{"192.168.1.20:8080", "cruet.local:80", "[fd00::1]:8080", "", ":", "a:b", "a:1:2", "[::1%eth0]:80", "xn--kse-rna.example:443", "a\x00b:80", "A.B.:9", "[0]:1", "a:+1", "a:01"} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, text string) {
		if CheckAddress(text) != nil {
			return
		}
		u, err := url.Parse("http://" + strings.ToUpper(text) + "/J/K7RM4T")
		if err != nil || u.Path != "/J/K7RM4T" || u.Port() == "" || u.Hostname() == "" || u.User != nil || u.RawQuery != "" {
			t.Fatalf("%q is accepted, and leads to %v, %v", text, u, err)
		}
	})
}
