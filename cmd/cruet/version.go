package main

import (
	"fmt"
	"runtime/debug"
	"strings"

	"github.com/spf13/cobra"
)

// version is the release and the revision that the program was built from, as
// the Go tool stamped them.
func version() string {
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return "of unknown version"
	}
	settings := map[string]string{}
	for _, s := range info.Settings {
		settings[s.Key] = s.Value
	}
	parts := []string{info.Main.Version}
	if info.Main.Version == "" {
		parts[0] = "(devel)"
	}
	if rev := settings["vcs.revision"]; len(rev) >= 12 {
		if settings["vcs.modified"] == "true" {
			rev = rev[:12] + " with changes"
		} else {
			rev = rev[:12]
		}
		parts = append(parts, "revision "+rev)
	}
	return strings.Join(append(parts, info.GoVersion), ", ")
}

func (a *app) versionCommand() *cobra.Command {
	return &cobra.Command{
		Use: "version", Short: "Say which program this is", Example: "  cruet version", Args: exactly(),
		RunE: func(cmd *cobra.Command, args []string) error {
			_, err := fmt.Fprintln(a.out, "cruet", version())
			return err
		},
	}
}
