package main

import (
	"bytes"
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"text/tabwriter"
	"time"

	"github.com/spf13/cobra"

	"heeltap/cmd/internal/demo"
	"heeltap/lots"
)

// measuring is how a measurement is to be done.
type measuring struct {
	program, folder string
	years           []int
	sites           int
	seed            uint64
	tries           int
	whole, imports  bool
	only            *regexp.Regexp
}

// cost is what one task took at one size: processor time, and memory at its most; nothing where it was not done.
type cost struct {
	took   time.Duration
	memory int64 // bytes
}

func measureCommand() *cobra.Command {
	m := &measuring{}
	only := ""
	cmd := &cobra.Command{
		Use:   "measure",
		Short: "Print what every question, paper and kind of entry costs at several sizes, as ratios to the smallest",
		Long: `Print what every question, paper and kind of entry costs at several sizes: the processor time (user and system) of
the program itself, started anew for each, in milliseconds, the median of some tries, and its most memory in MB. Behind each size stands
the ratio to the smallest. Databases are built once and kept in the folder; entries are recorded in a copy.`,
		Example: `  go run ./cmd/scale measure
  go run ./cmd/scale measure --years 1,20 --only 'ship|pack|receive'
  go run ./cmd/scale measure --whole --import`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) (err error) {
			if m.only, err = regexp.Compile(only); err != nil {
				return lots.Errorf(lots.Invalid, "--only is no regular expression: %w", err)
			}
			return m.run(cmd.Context())
		},
	}
	flags := cmd.Flags()
	flags.IntSliceVar(&m.years, "years", []int{1, 5, 10, 20}, "sizes, in years; the first is what the others are compared with")
	flags.IntVar(&m.sites, "sites", 1, "sites in each")
	flags.Uint64Var(&m.seed, "seed", 1, "seed of the histories")
	flags.IntVar(&m.tries, "tries", 5, "tries of each, at most 9")
	flags.BoolVar(&m.whole, "whole", false, "also what reads the whole records: check, exposure, audit and the like")
	flags.BoolVar(&m.imports, "import", false, "also import each size from its sheets")
	flags.StringVar(&only, "only", "", "only tasks whose name matches this regular expression")
	flags.StringVar(&m.folder, "folder", filepath.Join(os.TempDir(), "heeltap-scale"), "where databases are kept")
	flags.StringVar(&m.program, "program", "", "the heeltap to measure; else it is built from here")
	return cmd
}

func (m *measuring) run(ctx context.Context) error {
	if len(m.years) == 0 || slices.Min(m.years) < 1 || m.sites < 1 || m.tries < 1 || m.tries > 9 {
		return lots.Errorf(lots.Invalid, "--years and --sites must be 1 or more, and --tries 1 to 9")
	}
	if err := os.MkdirAll(m.folder, 0o755); err != nil {
		return err
	}
	if m.program == "" {
		m.program = filepath.Join(m.folder, "heeltap")
		if out, err := exec.CommandContext(ctx, "go", "build", "-o", m.program, "./cmd/heeltap").CombinedOutput(); err != nil {
			return lots.Errorf(lots.Invalid, "heeltap cannot be built here (run this in its folder, or name one with --program): %w\n%s", err, out)
		}
	}
	costs := map[string][]cost{}
	var heads, notes []string
	for i, years := range m.years {
		size := demo.Grown{Sites: m.sites, Years: years, Seed: m.seed}
		s, err := m.prepare(ctx, size)
		if err != nil {
			return err
		}
		heads, notes = append(heads, named(size)), append(notes, s.note)
		for _, t := range m.wanted() {
			c, err := s.measure(ctx, t)
			if err != nil {
				fmt.Fprintf(os.Stderr, "%s, %s: %v\n", named(size), t.name, err)
			}
			costs[t.name] = append(costs[t.name], c)
		}
		if m.imports {
			c, err := s.imported(ctx, size)
			if err != nil {
				return err
			}
			costs["import"] = append(costs["import"], c)
		}
		fmt.Fprintf(os.Stderr, "%s measured (%d of %d)\n", named(size), i+1, len(m.years))
	}
	m.show(heads, notes, costs)
	return nil
}

// wanted are the tasks asked for.
func (m *measuring) wanted() []task {
	return slices.DeleteFunc(slices.Clone(tasks), func(t task) bool { return t.long && !m.whole || !m.only.MatchString(t.name) })
}

// show prints a table of costs: milliseconds and MB at the smallest size, and the ratios at the others.
func (m *measuring) show(heads, notes []string, costs map[string][]cost) {
	for i, note := range notes {
		fmt.Printf("%s: %s\n", heads[i], note)
	}
	fmt.Println()
	w := tabwriter.NewWriter(os.Stdout, 0, 0, 2, ' ', tabwriter.AlignRight)
	row := func(cells ...string) { fmt.Fprintln(w, strings.Join(cells, "\t")+"\t") }
	cells := []string{"", ""}
	for i, head := range heads {
		cells = append(cells, head+" ms", "MB")
		if i > 0 {
			cells = append(cells, "time ×", "memory ×")
		}
	}
	row(cells...)
	wanted := m.wanted()
	if m.imports {
		wanted = append(wanted, task{group: "whole", name: "import"})
	}
	for _, t := range wanted {
		cells := []string{t.group, t.name}
		list := costs[t.name]
		for i, c := range list {
			cells = append(cells, c.cells()...)
			if i > 0 {
				cells = append(cells, ratio(float64(c.took), float64(list[0].took)), ratio(float64(c.memory), float64(list[0].memory)))
			}
		}
		row(cells...)
	}
	w.Flush()
}

func (c cost) cells() []string {
	if c.took == 0 {
		return []string{"-", "-"}
	}
	return []string{strconv.FormatFloat(float64(c.took.Microseconds())/1000, 'f', 0, 64), strconv.FormatInt(c.memory>>20, 10)}
}

func ratio(x, of float64) string {
	if x == 0 || of == 0 {
		return "-"
	}
	return strconv.FormatFloat(x/of, 'f', 2, 64)
}

// subject is a database of one size, the copy that entries are recorded in, and what is asked about.
type subject struct {
	*measuring
	file, copy, out string
	about           map[string]string
	note            string
}

// prepare builds a database unless it is there, finds what to ask about, and opens a recall in a copy.
func (m *measuring) prepare(ctx context.Context, size demo.Grown) (*subject, error) {
	name := fmt.Sprintf("%dx%d-%d", size.Sites, size.Years, size.Seed)
	s := &subject{measuring: m, file: filepath.Join(m.folder, name+".db"), copy: filepath.Join(m.folder, name+"-copy.db"), out: filepath.Join(m.folder, "out")}
	if err := cmp.Or(os.RemoveAll(s.out), os.MkdirAll(s.out, 0o755)); err != nil {
		return nil, err
	}
	if _, err := os.Stat(s.file); errors.Is(err, fs.ErrNotExist) {
		fmt.Fprintf(os.Stderr, "building %s …\n", named(size))
		if _, err := ourselves(ctx, "history", "--db", s.file, "--years", strconv.Itoa(size.Years), "--sites", strconv.Itoa(size.Sites), "--seed", strconv.FormatUint(size.Seed, 10)); err != nil {
			return nil, err
		}
	}
	for _, ending := range []string{"", "-wal", "-shm"} {
		if err := os.Remove(s.copy + ending); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return nil, err
		}
	}
	if _, err := s.call(ctx, s.file, "stock", "tanks"); err != nil { // an older layout is brought up to date
		return nil, err
	}
	if err := copyFile(s.copy, s.file); err != nil {
		return nil, err
	}
	said, err := ourselves(ctx, "choose", s.copy)
	if err != nil {
		return nil, err
	}
	var c chosen
	if err := json.Unmarshal(said, &c); err != nil {
		return nil, err
	}
	s.about, s.note = c.About, c.Note
	s.about["out"] = s.out
	for _, args := range [][]string{
		{"recall", "open", s.about["hop"], "--hazard", "foreign-body", "--reason", "wire in a bale", "--known", "the supplier's letter", "--lead", "Quint"},
		{"recall", "freeze", "--reason", "first scope"},
	} {
		if _, err := s.call(ctx, s.copy, args...); err != nil {
			return nil, err
		}
	}
	for n := 1; n <= m.tries; n++ { // to be voided
		if _, err := s.call(ctx, s.copy, "transfer", fmt.Sprintf("RN-CLEAR%d", n), "--from", "FV2", "--to", "BT4", "--out", "1 hL", "--in", "1 hL", "--started-at", fmt.Sprintf("2026-03-12 1%d:00", n), "--ended-at", fmt.Sprintf("2026-03-12 1%d:30", n)); err != nil {
			return nil, err
		}
	}
	return s, nil
}

// ourselves runs this program, so that the memory it takes is not this process's.
func ourselves(ctx context.Context, args ...string) ([]byte, error) {
	path, err := os.Executable()
	if err != nil {
		return nil, err
	}
	cmd := exec.CommandContext(ctx, path, args...)
	cmd.Stderr = os.Stderr
	return cmd.Output()
}

// copyFile copies a database that nobody has open.
func copyFile(to, from string) error {
	in, err := os.Open(from)
	if err != nil {
		return err
	}
	defer in.Close()
	out, err := os.Create(to)
	if err != nil {
		return err
	}
	_, err = io.Copy(out, in)
	return cmp.Or(err, out.Close())
}

// measure does a task some times and gives the median of what it cost.
func (s *subject) measure(ctx context.Context, t task) (cost, error) {
	tries := s.tries
	if t.long {
		tries = 1
	}
	var all []cost
	for n := 1; n <= tries; n++ {
		s.about["n"] = strconv.Itoa(n)
		c, err := s.call(ctx, s.copy, t.arguments(s.about)...)
		if err != nil {
			return cost{}, err
		}
		all = append(all, c)
	}
	return middle(all), nil
}

// middle is the median of times, and of memory.
func middle(all []cost) cost {
	slices.SortFunc(all, func(a, b cost) int { return cmp.Compare(a.memory, b.memory) })
	memory := all[len(all)/2].memory
	slices.SortFunc(all, func(a, b cost) int { return cmp.Compare(a.took, b.took) })
	return cost{all[len(all)/2].took, memory}
}

// imported imports a size from its sheets into a new database.
func (s *subject) imported(ctx context.Context, size demo.Grown) (cost, error) {
	folder, file := filepath.Join(s.out, "sheets"), filepath.Join(s.out, "import.db")
	if _, err := ourselves(ctx, "history", "--folder", folder, "--years", strconv.Itoa(size.Years), "--sites", strconv.Itoa(size.Sites), "--seed", strconv.FormatUint(size.Seed, 10)); err != nil {
		return cost{}, err
	}
	if _, err := s.call(ctx, file, "init"); err != nil {
		return cost{}, err
	}
	return s.call(ctx, file, "import", folder)
}

// call runs the program and gives what it cost. That a check has findings is no failure.
func (s *subject) call(ctx context.Context, file string, args ...string) (cost, error) {
	cmd := exec.CommandContext(ctx, s.program, args...)
	cmd.Env = append(os.Environ(), "HEELTAP_DB="+file, "HEELTAP_BY=Measure")
	var said bytes.Buffer
	cmd.Stderr = &said
	err := cmd.Run()
	if failed, ok := errors.AsType[*exec.ExitError](err); ok && failed.ExitCode() == 3 {
		err = nil
	}
	if err != nil {
		return cost{}, fmt.Errorf("%s: %w: %s", strings.Join(args, " "), err, bytes.TrimSpace(said.Bytes()))
	}
	return cost{cmd.ProcessState.UserTime() + cmd.ProcessState.SystemTime(), mostMemory(cmd.ProcessState)}, nil
}
