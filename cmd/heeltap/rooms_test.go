package main

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// layers reads the guide's map: each room with its line, counted from the top.
func layers(t *testing.T) map[string]int {
	t.Helper()
	guide, err := os.ReadFile("../../DEVELOPERS.md")
	require.NoError(t, err)
	_, rest, found := strings.Cut(string(guide), "```rooms\n")
	require.True(t, found, "the guide has a map of the rooms")
	rooms, _, _ := strings.Cut(rest, "```")
	out := map[string]int{}
	for i, line := range strings.Split(strings.TrimSpace(rooms), "\n") {
		for _, room := range strings.Fields(line) {
			require.NotContains(t, out, room, "a room stands once on the map")
			out[room] = i
		}
	}
	return out
}

// sources parses every Go file that is no test: by the room it stands in.
func sources(t *testing.T, mode parser.Mode) map[string][]*ast.File {
	t.Helper()
	out := map[string][]*ast.File{}
	set := token.NewFileSet()
	for _, top := range []string{"cmd", "graph", "labels", "lots"} {
		require.NoError(t, filepath.WalkDir("../../"+top, func(path string, d fs.DirEntry, err error) error {
			if err != nil || d.IsDir() || filepath.Ext(path) != ".go" || strings.HasSuffix(path, "_test.go") {
				return err
			}
			file, err := parser.ParseFile(set, path, nil, mode)
			room, _ := filepath.Rel("../..", filepath.Dir(path))
			room = filepath.ToSlash(room)
			out[room] = append(out[room], file)
			return err
		}))
	}
	return out
}

func TestRoomsImportOnlyWhatIsBelowThemOnTheMap(t *testing.T) {
	layer, files := layers(t), sources(t, parser.ImportsOnly)
	for room := range files {
		require.Contains(t, layer, room, "every room is on the guide's map")
	}
	for room := range layer {
		require.Contains(t, files, room, "every room on the guide's map is there")
	}
	arrows := 0
	for room, list := range files {
		for _, file := range list {
			for _, i := range file.Imports {
				path, err := strconv.Unquote(i.Path.Value)
				require.NoError(t, err)
				if other, ours := strings.CutPrefix(path, "heeltap/"); ours {
					arrows++
					require.Less(t, layer[room], layer[other], "%s imports %s, which is not below it on the guide's map", room, other)
				}
			}
		}
	}
	require.Greater(t, arrows, 100, "imports were read")
}

// Whoever records rows past the gate ships held beer without a word. The store itself records
// rows again when it follows a journal.
func TestOnlyTheGateRecordsRows(t *testing.T) {
	var callers []string
	for room, list := range sources(t, parser.SkipObjectResolution) {
		for _, file := range list {
			ast.Inspect(file, func(n ast.Node) bool {
				if s, ok := n.(*ast.SelectorExpr); ok && s.Sel.Name == "RecordRows" && !slices.Contains(callers, room) {
					callers = append(callers, room)
				}
				return true
			})
		}
	}
	slices.Sort(callers)
	require.Equal(t, []string{"graph/gate", "lots/store"}, callers)
}

// An error whose type says no kind is taken for a failure on our side, and people are told of one where they were only
// asked to look again.
func TestEveryErrorSaysItsKind(t *testing.T) {
	methods := map[string][]string{}
	for room, list := range sources(t, parser.SkipObjectResolution) {
		for _, file := range list {
			for _, d := range file.Decls {
				f, ok := d.(*ast.FuncDecl)
				if !ok || f.Recv == nil || f.Name.Name != "Error" && f.Name.Name != "ErrorKind" || f.Type.Results == nil {
					continue
				}
				of := f.Recv.List[0].Type
				if star, ok := of.(*ast.StarExpr); ok {
					of = star.X
				}
				name := room + "." + of.(*ast.Ident).Name
				methods[name] = append(methods[name], f.Name.Name)
			}
		}
	}
	var without []string
	for name, has := range methods {
		if slices.Contains(has, "Error") && !slices.Contains(has, "ErrorKind") {
			without = append(without, name)
		}
	}
	require.Contains(t, methods, "lots.Faults", "types of error were found")
	require.Equal(t, []string{"lots/lineage.Ring"}, without, "the store words a ring as a refusal of its own before anybody sees it")
}
