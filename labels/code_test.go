package labels

import (
	"errors"
	"image"
	"image/color"
	"strings"
	"testing"

	"cruet/internal/larder"
	"cruet/labels/readback"
)

// Capacities of ISO/IEC 18004, table 7 (characters in alphanumeric and in byte
// mode): a text of exactly that length takes that version, one more the next.
func TestVersionsAndLevels(t *testing.T) {
	capacity := []struct {
		version     int
		level       Level
		alnum, byte int
	}{
		{1, LevelQ, 16, 11}, {2, LevelQ, 29, 20}, {3, LevelQ, 47, 32}, {4, LevelQ, 67, 46}, {5, LevelQ, 87, 60},
		{1, LevelM, 20, 14}, {2, LevelM, 38, 26}, {3, LevelM, 61, 42}, {4, LevelM, 90, 62},
		{1, LevelH, 10, 7}, {2, LevelH, 20, 14}, {3, LevelH, 35, 24}, {4, LevelH, 50, 34},
	}
	for _, tt := range capacity {
		for letter, n := range map[string]int{"A": tt.alnum, "a": tt.byte} {
			c := mustCode(t, strings.Repeat(letter, n), tt.level)
			if c.Version != tt.version || c.Level != tt.level {
				t.Errorf("%d x %q at level %v: version %d-%v, want %d-%v", n, letter, tt.level, c.Version, c.Level, tt.version, tt.level)
			}
			if c := mustCode(t, strings.Repeat(letter, n+1), tt.level); c.Version != tt.version+1 {
				t.Errorf("%d x %q at level %v: version %d, want %d", n+1, letter, tt.level, c.Version, tt.version+1)
			}
			if c.Size() != 17+4*c.Version {
				t.Errorf("version %d has %d modules a side", c.Version, c.Size())
			}
		}
	}
}

// The level rises as far as the version gives it for free.
func TestFreeLevel(t *testing.T) {
	if c := mustCode(t, strings.Repeat("A", 20), LevelQ); c.Version != 2 || c.Level != LevelH {
		t.Errorf("20 characters: version %d-%v, want 2-H (ISO/IEC 18004, table 7)", c.Version, c.Level)
	}
	if c := mustCode(t, strings.Repeat("A", 21), LevelL); c.Version != 1 || c.Level != LevelL {
		t.Errorf("21 characters: version %d-%v, want 1-L", c.Version, c.Level)
	}
}

// An address with an IPv4 host and a jar's tag fits version 3 at level Q.
func TestJarAddressIsVersion3(t *testing.T) {
	for _, text := range []string{"http://192.168.178.114:8080/J/K7RM4TX", "http://10.0.0.7:8080/J/K7RM4T"} {
		if c := mustCode(t, text, LevelQ); c.Version > 3 || c.Level < LevelQ {
			t.Errorf("%s: version %d-%v", text, c.Version, c.Level)
		}
	}
}

func TestCodesDecode(t *testing.T) {
	texts := []string{"A", "http://192.168.178.114:8080/J/K7RM4T", "HTTP://KITCHEN.LOCAL/J/K7RM4T", "with lower case and ümlauts 1234567890", strings.Repeat("LONG ", 20)}
	for _, text := range texts {
		c := mustCode(t, text, LevelQ)
		if got, err := readback.Decode(picture(c, 4)); got != text {
			t.Errorf("reads %q, want %q (%v)", got, text, err)
		}
	}
}

func TestNoSuchCode(t *testing.T) {
	for _, text := range []string{"", strings.Repeat("x", 5000)} {
		if _, err := NewCode(text, LevelQ); err == nil || !strings.HasSuffix(err.Error(), ".") {
			t.Errorf("%d characters: %v", len(text), err)
		}
	}
	var problem larder.Problems
	if _, err := NewCode("A", 7); !errors.As(err, &problem) {
		t.Errorf("level 7: %v", err)
	}
}

// The rectangles of a code cover each black module once, and no white one.
func TestRunsCoverTheCode(t *testing.T) {
	for _, text := range []string{"A", "http://192.168.178.114:8080/J/K7RM4T", strings.Repeat("LONG ", 60)} {
		c := mustCode(t, text, LevelQ)
		times := make([]int, c.Size()*c.Size())
		for _, r := range c.runs() {
			for y := r.y; y < r.y+r.h; y++ {
				for x := r.x; x < r.x+r.w; x++ {
					times[y*c.Size()+x]++
				}
			}
		}
		for i, n := range times {
			black := c.Black(i%c.Size(), i/c.Size())
			if n > 1 || (n == 1) != black {
				t.Fatalf("module %d, %d, black %v, is covered %d times", i%c.Size(), i/c.Size(), black, n)
			}
		}
	}
}

func mustCode(t testing.TB, text string, level Level) Code {
	t.Helper()
	c, err := NewCode(text, level)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// picture draws a code with its quiet zone, k pixels a module.
func picture(c Code, k int) *image.Gray {
	side := (c.Size() + 2*QuietModules) * k
	img := image.NewGray(image.Rect(0, 0, side, side))
	for y := range side {
		for x := range side {
			shade := color.Gray{Y: 255}
			if c.Black(x/k-QuietModules, y/k-QuietModules) {
				shade.Y = 0
			}
			img.SetGray(x, y, shade)
		}
	}
	return img
}
