//go:build !windows

package scan

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// Printing from the page: on the spooler's printer, with its reason when it
// refuses.
func TestPrintFromThePage(t *testing.T) {
	s := stocked(t)
	dir := t.TempDir()
	for name, body := range map[string]string{"lpstat": "echo broken; echo office",
		"lp": `if [ "$2" = broken ]; then echo "lp: The printer is on fire." >&2; exit 1; fi; cat > "` + dir + `/sent.pdf"; echo "request id is office-9 (0 file(s))"`} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte("#!/bin/sh\n"+body+"\n"), 0o700); err != nil {
			t.Fatal(err)
		}
	}
	t.Setenv("PATH", dir+":/usr/bin:/bin")
	a := string(s.jars["Pear trimmings/A"])
	s.get("/labels?tag="+a).wants(200).has(`formaction="/labels/print"`, `value="office"`)
	s.post("/labels/print", formOf("tag", a, "to", "broken")).wants(422, "says: The printer is on fire. Nothing was printed.").has(`value="` + a + `" checked`)
	s.post("/labels/print", formOf("tag", a, "to", "cellar")).wants(422, "knows no printer")
	s.post("/labels/print", formOf("to", "office")).wants(422, "Choose at least one jar")
	s.get("/labels").lacks("printed 25 Nov")
	s.post("/labels/print", formOf("tag", a, "to", "office", "copies", "2", "stock", "roll-57x32")).follow().wants(200, "Handed to the printer: 2 labels for office", "printed 25 Nov")
	if pdf, err := os.ReadFile(filepath.Join(dir, "sent.pdf")); err != nil || !strings.HasPrefix(string(pdf), "%PDF-") {
		t.Errorf("%d bytes, %v", len(pdf), err)
	}
}
