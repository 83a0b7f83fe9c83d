//go:build !windows

package spool

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"cruet/internal/larder"
)

// fake puts programs in place of the spooler's.
func fake(t *testing.T, lpstat, lp string) (dir string) {
	t.Helper()
	dir = t.TempDir()
	for name, body := range map[string]string{"lpstat": lpstat, "lp": lp} {
		if body == "" {
			continue
		}
		if err := os.WriteFile(filepath.Join(dir, name), []byte("#!/bin/sh\n"+body+"\n"), 0o700); err != nil {
			t.Fatal(err)
		}
	}
	t.Setenv("PATH", dir+string(os.PathListSeparator)+"/usr/bin"+string(os.PathListSeparator)+"/bin")
	return dir
}

func job(printer string) Job {
	return Job{Printer: printer, Title: "jars; rm -rf $HOME", PDF: []byte("%PDF-1.4 labels"), PageWMM: 57.15, PageHMM: 31.75, DPI: 203}
}

// What the spooler is told, argument by argument, and that it gets the file.
func TestSend(t *testing.T) {
	dir := fake(t, "echo labels; echo office", `printf '%s\n' "$@" > "$(dirname "$0")/args"; cat > "$(dirname "$0")/file"; echo "request id is labels-7 (0 file(s))"`)
	id, err := Send(context.Background(), job("labels"))
	if err != nil || id != "labels-7" {
		t.Fatalf("%q, %v", id, err)
	}
	args, err := os.ReadFile(filepath.Join(dir, "args"))
	if err != nil {
		t.Fatal(err)
	}
	want := []string{"-d", "labels", "-t", "jars; rm -rf $HOME", "-o", "media=Custom.57.15x31.75mm", "-o", "print-scaling=none", "-o", "printer-resolution=203dpi"}
	if got := strings.Split(strings.TrimSpace(string(args)), "\n"); !slices.Equal(got, want) {
		t.Errorf("told %q", got)
	}
	if file, _ := os.ReadFile(filepath.Join(dir, "file")); string(file) != "%PDF-1.4 labels" {
		t.Errorf("sent %q", file)
	}
}

func TestMedia(t *testing.T) {
	for want, page := range map[string][2]float64{"iso_a4_210x297mm": {210, 297}, "na_letter_8.5x11in": {215.9, 279.4}, "Custom.62x80mm": {62, 80}} {
		if got := media(page[0], page[1]); got != want {
			t.Errorf("%v: %s", page, got)
		}
	}
}

func TestTroubleIsToldInASentence(t *testing.T) {
	for _, row := range []struct{ name, lpstat, lp, printer, want string }{
		{"a printer that is not listed", "echo labels", "touch \"$(dirname \"$0\")/ran\"", "--help", `knows no printer "--help"; it lists: labels.`},
		{"none at all", "echo 'lpstat: No destinations added.' >&2; exit 1", "", "labels", "it lists no printer."},
		{"the spooler stopped", "echo 'lpstat: Scheduler is not running.' >&2; exit 1", "", "labels", "says: Scheduler is not running. Nothing was printed."},
		{"a refused job", "echo labels", "echo 'lp: Destination \"labels\" is not accepting jobs.' >&2; exit 1", "labels", `says: Destination "labels" is not accepting jobs. Nothing was printed.`},
		{"silence", "echo labels", "exit 3", "labels", "says: exit status 3. Nothing was printed."},
	} {
		t.Run(row.name, func(t *testing.T) {
			dir := fake(t, row.lpstat, row.lp)
			_, err := Send(context.Background(), job(row.printer))
			var p larder.Problems
			if !errors.As(err, &p) || p[0].Field != "printer" || !strings.Contains(err.Error(), row.want) {
				t.Errorf("%v, want %q", err, row.want)
			}
			if _, err := os.Stat(filepath.Join(dir, "ran")); err == nil {
				t.Error("lp ran")
			}
		})
	}
	t.Run("no spooler", func(t *testing.T) {
		t.Setenv("PATH", t.TempDir())
		if _, err := Printers(context.Background()); err == nil || !strings.Contains(err.Error(), "has no print spooler") {
			t.Error(err)
		}
	})
}

// A spooler that hangs does not hang the page.
func TestCancelled(t *testing.T) {
	fake(t, "sleep 20", "")
	ctx, cancel := context.WithTimeout(context.Background(), 100*time.Millisecond)
	defer cancel()
	if _, err := Printers(ctx); !errors.Is(err, context.DeadlineExceeded) {
		t.Error(err)
	}
	if _, err := run(context.Background(), 100*time.Millisecond, nil, "lpstat", "-e"); err == nil || !strings.Contains(err.Error(), "did not answer") {
		t.Error(err)
	}
}
