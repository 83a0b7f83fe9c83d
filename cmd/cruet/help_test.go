package main

import (
	"bytes"
	"regexp"
	"strings"
	"testing"

	"github.com/spf13/cobra"

	"cruet/internal/larder"
)

// every walks all commands but the root and cobra's own help.
func every(t *testing.T, visit func(*cobra.Command)) {
	t.Helper()
	n := 0
	var walk func(*cobra.Command)
	walk = func(c *cobra.Command) {
		for _, sub := range c.Commands() {
			if sub.Name() != "help" {
				n++
				if err := sub.Help(); err != nil { // some describe themselves only then
					t.Error(err)
				}
				visit(sub)
				walk(sub)
			}
		}
	}
	walk(newRoot(&bytes.Buffer{}, &bytes.Buffer{}))
	if n < 14 {
		t.Errorf("only %d commands were found", n)
	}
}

func TestEveryCommandHasAnExampleOfItself(t *testing.T) {
	every(t, func(c *cobra.Command) {
		if !strings.Contains(c.Example, c.CommandPath()) {
			t.Errorf("%s: the example does not show it: %q", c.CommandPath(), c.Example)
		}
		if c.Short == "" {
			t.Errorf("%s has no short description", c.CommandPath())
		}
	})
}

func TestHelpListsEveryCommand(t *testing.T) {
	var out bytes.Buffer
	root := newRoot(&out, &out)
	root.SetArgs([]string{"help"})
	if err := root.Execute(); err != nil {
		t.Fatal(err)
	}
	every(t, func(c *cobra.Command) {
		if c.Parent() == c.Root() && !strings.Contains(out.String(), "\n  "+c.Name()+" ") {
			t.Errorf("help does not list %s", c.Name())
		}
	})
}

// A line of help that is wider than a terminal breaks in the wrong places.
func TestHelpFitsATerminal(t *testing.T) {
	every(t, func(c *cobra.Command) {
		for _, line := range strings.Split(c.Long, "\n") {
			if len([]rune(line)) > 85 {
				t.Errorf("%s: %d characters: %q", c.CommandPath(), len([]rune(line)), line)
			}
		}
	})
}

// Hints must name flags that exist: a field whose flag was renamed would lead nowhere.
func TestFieldFlagsExist(t *testing.T) {
	known := map[string]bool{}
	every(t, func(c *cobra.Command) {
		for _, names := range fieldFlags {
			for _, name := range names {
				if c.Flags().Lookup(name) != nil {
					known[name] = true
				}
			}
		}
	})
	for field, names := range fieldFlags {
		for _, name := range names {
			if !known[name] {
				t.Errorf("field %s: no command has --%s", field, name)
			}
		}
	}
}

// An example that is refused when it is copied is no example.
func TestExampleTagsAreRight(t *testing.T) {
	tags := regexp.MustCompile(`\b(K7R|3CF)[0-9A-Z]+\b`)
	found := 0
	every(t, func(c *cobra.Command) {
		for _, tag := range tags.FindAllString(c.Example+c.Long, -1) {
			found++
			if _, _, err := larder.ParseTag(tag); err != nil {
				t.Errorf("%s: %v", c.CommandPath(), err)
			}
		}
	})
	if found == 0 {
		t.Error("no example names a tag")
	}
}
