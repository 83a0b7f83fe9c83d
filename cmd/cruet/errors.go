package main

import (
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"github.com/spf13/cobra"

	"cruet/internal/larder"
	"cruet/internal/store"
)

// usageError says that the command line could not be understood.
type usageError struct{ message, hint string }

func (e *usageError) Error() string { return e.message }

// failure is a sentence that says what could not be done, with advice.
type failure struct{ message, hint string }

func (e *failure) Error() string { return e.message }

func fail(hint, format string, args ...any) error {
	return &failure{fmt.Sprintf(format, args...), hint}
}

// hinted is another package's failure with advice of ours.
type hinted struct {
	error
	hint string
}

func (e *hinted) Unwrap() error { return e.error }

// report prints an error line and a hint line and returns the exit code.
func report(w io.Writer, cmd *cobra.Command, err error) int {
	hint, code := advise(cmd, err)
	fmt.Fprintf(w, "error: %s\nhint: %s\n", oneLine(err.Error()), oneLine(hint))
	return code
}

func advise(cmd *cobra.Command, err error) (hint string, code int) {
	var usage *usageError
	var failed *failure
	var own *hinted
	var tag *larder.TagError
	var problems larder.Problems
	var missing *larder.NotFoundError
	var conflict *larder.ConflictError
	var newer *store.NewerError
	var several *larder.SeveralError
	var station *larder.StationError
	switch {
	case errors.As(err, &usage):
		if usage.hint != "" {
			return usage.hint, exitUsage
		}
		return seeHelp(cmd), exitUsage
	case errors.As(err, &failed):
		return failed.hint, exitFailed
	case errors.As(err, &own):
		return own.hint, exitFailed
	case errors.As(err, &tag):
		return `"cruet jars" lists the tags of all jars on the shelf.`, exitUsage
	case errors.As(err, &problems):
		return problemHint(cmd, problems), exitFailed
	case errors.As(err, &missing):
		return `Nothing was changed. "cruet jars" lists the jars on the shelf, "cruet lots" what was bottled.`, exitFailed
	case errors.As(err, &conflict):
		return "Nothing was saved. Leave out --key to make this a new entry.", exitFailed
	case errors.As(err, &several):
		return several.Hint(), exitUsage
	case errors.As(err, &station):
		return fmt.Sprintf("The reason: %s.", station.Err), exitFailed
	case errors.As(err, &newer):
		return `"cruet version" says which program this is.`, exitFailed
	}
	return `Nothing was acknowledged as saved. "cruet check" verifies the records; --data names their folder.`, exitFailed
}

// fieldFlags names the flags behind the fields of larder's problems. A command
// takes the first of them that was given, else the first that it has.
var fieldFlags = map[string][]string{
	"base": {"from"}, "ingredients": {"with"}, "jar_size_ml": {"size"}, "fill_ml": {"fill"},
	"target_g_per_100ml": {"target"}, "spare_tags": {"spare"}, "jar_outer_diameter_mm": {"jar-diameter"},
	"temp_c": {"temp"}, "temperature_c": {"temp"}, "specific_gravity": {"sg"}, "abv_percent_vol": {"abv"}, "abv_percent": {"abv"},
	"volume_ml": {"volume", "to", "size"}, "endpoint_ph": {"endpoint-ph"}, "sample_ml": {"sample"}, "base_mol_per_l": {"base"},
	"start_ml": {"burette"}, "end_ml": {"burette"}, "replicates": {"burette"}, "blank_ml": {"blank"}, "dilution_factor": {"dilution"},
	"starter": {"starter-jar"}, "starter_jar": {"starter-jar", "top-up-jar"}, "starter_name": {"starter-bought"},
	"starter_volume_ml": {"starter-volume"}, "starter_acidity": {"starter-acidity"},
	"feed": {"top-up-jar"}, "feed_jar": {"starter-jar", "top-up-jar"}, "feed_name": {"starter-bought", "infuse"}, "feed_mass_g": {"mass"}, "parts": {"to"},
	"feed_volume_ml": {"starter-volume", "top-up-volume", "water"}, "feed_acidity": {"starter-acidity"},
	"size_ml": {"size"}, "spare_tag": {"to", "spare"}, "maker_line": {"maker-line"}, "maker_address": {"maker-address"}, "public_address": {"public-address"}, "local_name": {"local-name"}, "named_address": {"label-address"}, "hosts": {"host"}, "places": {"place"}, "instruments": {"instrument"}, "stocks": {"stock"}, "idle_days": {"idle"}, "time_zone": {"time-zone"}, "us_units": {"units"},
}

// problemHint names the flags to look at.
func problemHint(cmd *cobra.Command, problems larder.Problems) string {
	var flags []string
	for _, p := range problems {
		field, rest, _ := strings.Cut(p.Field, "[")
		if _, inner, ok := strings.Cut(rest, "]."); ok && field == "parts" && inner == "spare_tag" {
			field = "spare_tags"
		}
		names := slices.DeleteFunc(append(slices.Clone(fieldFlags[field]), field), func(name string) bool { return name == "" || cmd.Flags().Lookup(name) == nil })
		if len(names) == 0 {
			continue
		}
		name := names[max(0, slices.IndexFunc(names, cmd.Flags().Changed))]
		if flag := "--" + name; !slices.Contains(flags, flag) {
			flags = append(flags, flag)
		}
	}
	if len(flags) == 0 {
		return "Nothing was saved. " + seeHelp(cmd)
	}
	return fmt.Sprintf("Nothing was saved. Look at %s in %q.", strings.Join(flags, ", "), cmd.CommandPath()+" --help")
}

func seeHelp(cmd *cobra.Command) string {
	return fmt.Sprintf("%q shows how it is used.", cmd.CommandPath()+" --help")
}

func unknownCommand(cmd *cobra.Command, name string) error {
	e := &usageError{message: fmt.Sprintf("There is no command %q.", name), hint: `"cruet help" lists the commands.`}
	if near := cmd.SuggestionsFor(name); len(near) > 0 {
		e.hint = "Did you mean " + strings.Join(near, " or ") + "? " + e.hint
	}
	return e
}

// wrongUse is a usageError about one flag or argument.
func wrongUse(what, format string, args ...any) error {
	return &usageError{message: what + ": " + fmt.Sprintf(format, args...)}
}

// exactly asks for as many arguments as there are names.
func exactly(names ...string) cobra.PositionalArgs {
	return func(cmd *cobra.Command, args []string) error {
		switch {
		case len(args) < len(names):
			return &usageError{message: names[len(args)] + " is missing."}
		case len(args) > len(names):
			return &usageError{message: fmt.Sprintf("%q is one word too many; put quotes round a name of several words.", args[len(names)])}
		}
		return nil
	}
}

// atLeastOne asks for one or more arguments.
func atLeastOne(name string) cobra.PositionalArgs {
	return func(cmd *cobra.Command, args []string) error {
		if len(args) == 0 {
			return &usageError{message: name + " is missing."}
		}
		return nil
	}
}

// sentence gives a library's message the form of ours.
func sentence(s string) string {
	r, size := utf8.DecodeRuneInString(s)
	return string(unicode.ToUpper(r)) + strings.TrimRight(s[size:], ".") + "."
}

func oneLine(s string) string { return strings.Join(strings.Fields(s), " ") }
