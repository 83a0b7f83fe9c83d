package labels

import (
	"errors"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"cruet/internal/larder"
)

func kitchenStocks(t *testing.T, lines ...string) Catalogue {
	t.Helper()
	dir := t.TempDir()
	text := stockColumns + "\n" + strings.Join(lines, "\n") + "\n"
	if err := os.WriteFile(filepath.Join(dir, StocksFile), []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return StocksIn(dir)
}

const ownLine = "pantry-4x6,sheet,210,297,4,6,45,40,10,20,48,43,1,300"

// A kitchen's own stocks come first, and a label prints on them like on any.
func TestOwnStocks(t *testing.T) {
	c := kitchenStocks(t, "# bought at the market", ownLine)
	if c.Err != nil || c.Own != 1 || len(c.Stocks) != len(Stocks())+1 || c.Stocks[0].ID != "pantry-4x6" {
		t.Fatalf("own %d of %d, %v", c.Own, len(c.Stocks), c.Err)
	}
	s, err := c.Find("Pantry-4x6")
	if err != nil || s.Places() != 24 || s.Name != "A4, 4 × 6, 45 × 40 mm" {
		t.Fatalf("%+v, %v", s, err)
	}
	if err := Write(io.Discard, Sheet{Stock: s}, []Label{testJar(0)}); err != nil {
		t.Error(err)
	}
	if a, b := c.NameOf("pantry-4x6"), c.NameOf("napkin"); a != s.Name || b != "napkin" {
		t.Errorf("named %q and %q", a, b)
	}
	if _, err := c.Find("napkin"); err == nil || !strings.Contains(err.Error(), "pantry-4x6, letter-3x10") {
		t.Errorf("unknown: %v", err)
	}
}

// Every wrong line is told with its number; the right ones are used.
func TestOwnStocksErrorsByLine(t *testing.T) {
	c := kitchenStocks(t,
		ownLine,                        // 2
		"wide,sheet,210,297,4,6,60,40", // 3
		"over,sheet,210,297,4,6,60,40,10,20,62,43,1,300",        // 4: the last column leaves the page
		"overlap,sheet,210,297,4,6,45,40,10,20,40,43,1,300",     // 5
		"word,sheet,210,297,four,6,45,40,10,20,48,43,1,300",     // 6
		"letter-3x10,sheet,210,297,4,6,45,40,10,20,48,43,1,300", // 7
		ownLine, // 8
		"poster,wall,210,297,4,6,45,40,10,20,48,43,1,300", // 9
	)
	var wrong larder.Problems
	if !errors.As(c.Err, &wrong) || len(wrong) != 7 || c.Own != 1 {
		t.Fatalf("%d own, %d problems: %v", c.Own, len(wrong), c.Err)
	}
	text := c.Err.Error()
	for _, want := range []string{"Line 3: the line cannot be read, since it has 8 values where 14", "Line 4: Stock \"over\": the last column ends 256.00 mm", "Line 5: Stock \"overlap\": labels overlap sideways",
		"Line 6: Stock \"word\": cols is a number", "Line 7: Stock \"letter-3x10\" is a built-in one", "Line 8: Stock \"pantry-4x6\" is listed twice", "Line 9: Stock \"poster\": the kind is"} {
		if !strings.Contains(text, want) {
			t.Errorf("%q is not in\n%s", want, text)
		}
	}
	if _, err := c.Find("over"); err == nil || !strings.Contains(err.Error(), "Line 4") {
		t.Errorf("a stock of a wrong line: %v", err)
	}
	if c := kitchenStocks(t); c.Err == nil || len(c.Stocks) != len(Stocks()) {
		t.Errorf("an empty file: %v", c.Err)
	}
	if c := kitchenStocks(t, ownLine, `"open`); c.Err == nil || !strings.Contains(c.Err.Error(), "line 3") {
		t.Errorf("an open quote: %v", c.Err)
	}
}
