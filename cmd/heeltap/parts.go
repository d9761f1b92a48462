package main

import (
	"cmp"
	"runtime/debug"

	"github.com/spf13/cobra"

	"heeltap/lots"
)

// part is a module that the program was built from.
type part struct {
	Module  string `json:"module"`
	Version string `json:"version"`
	Sum     string `json:"sum,omitempty"` // as in go.sum
}

func (e *env) partsCommand() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "parts",
		Short: "List what this program was built from: every module, its version and its checksum",
		Long: `List what this program was built from, as the build noted it in the program itself: the Go release, the revision,
and every module with its version and its checksum.`,
		Example: "  heeltap parts --json",
		Args:    cobra.NoArgs,
		RunE: func(*cobra.Command, []string) error {
			info, ok := debug.ReadBuildInfo()
			if !ok {
				return lots.Errorf(lots.NotFound, "this program was built without a note of its parts")
			}
			return e.listParts(info)
		},
	}
	cmd.Flags().BoolVar(&e.json, "json", false, "answer as JSON")
	return cmd
}

func (e *env) listParts(info *debug.BuildInfo) error {
	built := map[string]string{}
	for _, s := range info.Settings {
		built[s.Key] = s.Value
	}
	parts := []part{{"go", info.GoVersion, ""}, {cmp.Or(info.Main.Path, "heeltap"), cmp.Or(built["vcs.revision"], info.Main.Version), info.Main.Sum}}
	for _, m := range info.Deps {
		if m.Replace != nil {
			m = m.Replace
		}
		parts = append(parts, part{m.Path, m.Version, m.Sum})
	}
	if e.json {
		return e.writeJSON(parts)
	}
	t := &table{head: []string{"module", "version", "checksum"}}
	for _, p := range parts {
		t.add(p.Module, p.Version, cmp.Or(p.Sum, "-"))
	}
	e.print(t)
	return nil
}
