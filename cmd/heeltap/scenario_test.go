package main

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/rogpeppe/go-internal/testscript"
)

func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){
		"heeltap": func() {
			os.Exit(run(context.Background(), os.Args[1:], &env{in: os.Stdin, out: os.Stdout, errOut: os.Stderr, getenv: os.Getenv, now: clock}))
		},
	})
}

// clock is real time, or the fixed time that a script sets in NOW.
func clock() time.Time {
	if t, err := time.Parse(time.RFC3339, os.Getenv("NOW")); err == nil {
		return t
	}
	return time.Now()
}

// TestScenarios runs histories through the public import and reads the answers as the
// public JSON. Each script says who is in, possible and out, and why.
func TestScenarios(t *testing.T) {
	params := asking("../../testdata/scenarios")
	setup := params.Setup
	params.Setup = func(s *testscript.Env) error {
		err := setup(s)
		s.Setenv("NOW", "") // what was known when is told apart by real time
		return err
	}
	testscript.Run(t, params)
}

// asking runs the scripts of a folder, with the words that check an answer.
func asking(dir string) testscript.Params {
	base, err := filepath.Abs("../../testdata/scenarios/base")
	if err != nil {
		panic(err)
	}
	return testscript.Params{
		Dir:   dir,
		Setup: emptyDatabase(base),
		Cmds: map[string]func(*testscript.TestScript, bool, []string){
			"in":          func(ts *testscript.TestScript, _ bool, codes []string) { banded(ts, "in", codes) },
			"possible":    func(ts *testscript.TestScript, _ bool, codes []string) { banded(ts, "possible", codes) },
			"out":         func(ts *testscript.TestScript, _ bool, codes []string) { banded(ts, "", codes) },
			"in-brews":    inBrews,
			"sum":         sumAmounts,
			"field":       field,
			"from":        from,
			"shipped":     func(ts *testscript.TestScript, _ bool, who []string) { shipped(ts, true, who) },
			"not-shipped": func(ts *testscript.TestScript, _ bool, who []string) { shipped(ts, false, who) },
			"finding":     finding,
			"exit":        exit,
			"value":       value,
			"papers":      papersSay,
			"apart":       func(ts *testscript.TestScript, _ bool, names []string) { because(ts, "apart", names) },
			"by":          func(ts *testscript.TestScript, _ bool, names []string) { because(ts, "chain", names) },
			"now": func(ts *testscript.TestScript, _ bool, args []string) {
				ts.Setenv(args[0], time.Now().Format(time.RFC3339Nano))
				time.Sleep(2 * time.Millisecond) // the next entry is recorded later than this
			},
		},
	}
}

type object = map[string]any

// answer reads what the last question printed.
func answer(ts *testscript.TestScript) object {
	var a object
	ts.Check(json.Unmarshal([]byte(ts.ReadFile("stdout")), &a))
	return a
}

var arrays = []string{"lots", "brews", "fills", "runs", "units", "shipments"}

// elements lists the elements of some arrays of an answer; the surest first, where a code stands twice.
func elements(a object, names ...string) []object {
	var out []object
	for _, name := range names {
		list, _ := a[name].([]any)
		for _, x := range list {
			out = append(out, x.(object))
		}
	}
	slices.SortStableFunc(out, func(x, y object) int { return strings.Compare(x["band"].(string), y["band"].(string)) })
	return out
}

func bandOf(a object, code string) string {
	for _, x := range elements(a, arrays...) {
		if x["code"] == code {
			return x["band"].(string)
		}
	}
	return ""
}

func banded(ts *testscript.TestScript, want string, codes []string) {
	a := answer(ts)
	for _, code := range codes {
		if got := bandOf(a, code); got != want {
			ts.Fatalf("%s is %q, not %q", code, got, want)
		}
	}
}

// inBrews FIRST LAST N: the brews in the band in are N, from FIRST to LAST.
func inBrews(ts *testscript.TestScript, _ bool, args []string) {
	var in []string
	for _, b := range elements(answer(ts), "brews") {
		if b["band"] == "in" {
			in = append(in, b["code"].(string))
		}
	}
	slices.Sort(in)
	if n, _ := strconv.Atoi(args[2]); len(in) != n || in[0] != args[0] || in[len(in)-1] != args[1] {
		ts.Fatalf("in are %v", in)
	}
}

// sum ARRAY FIELD VALUE UNIT: the sum over an array; unknown counts as nothing.
func sumAmounts(ts *testscript.TestScript, _ bool, args []string) {
	sum := 0.0
	for _, x := range elements(answer(ts), args[0]) {
		if v, ok := x[args[1]].(float64); ok {
			sum += v
			if x["unit"] != args[3] {
				ts.Fatalf("%s is in %s", x["code"], x["unit"])
			}
		}
	}
	want, err := strconv.ParseFloat(args[2], 64)
	ts.Check(err)
	if math.Abs(sum-want) > 1e-6*want {
		ts.Fatalf("the sum is %g", sum)
	}
}

// field ARRAY CODE FIELD VALUE, or field totals.BAND FIELD VALUE.
func field(ts *testscript.TestScript, _ bool, args []string) {
	a := answer(ts)
	var x object
	if band, ok := strings.CutPrefix(args[0], "totals."); ok {
		x = a["totals"].(object)[band].(object)
	} else {
		for _, el := range elements(a, args[0]) {
			if el["code"] == args[1] {
				x = el
				break
			}
		}
		args = args[1:]
	}
	if x == nil {
		ts.Fatalf("%s is not in the answer", args[0])
	}
	got := fmt.Sprint(x[args[1]])
	if x[args[1]] == nil {
		got = "null"
	}
	if got != args[2] {
		ts.Fatalf("%s is %s, not %s", args[1], got, args[2])
	}
}

// from KIND CODE: the answer says that it started there.
func from(ts *testscript.TestScript, _ bool, args []string) {
	for _, f := range elements(answer(ts), "from") {
		if f["kind"] == args[0] && f["code"] == args[1] {
			return
		}
	}
	ts.Fatalf("the answer starts at %v", answer(ts)["from"])
}

func shipped(ts *testscript.TestScript, want bool, who []string) {
	got := map[string]bool{}
	for _, s := range elements(answer(ts), "shipments") {
		got[s["consignee"].(string)] = true
	}
	for _, w := range who {
		if got[w] != want {
			ts.Fatalf("the consignees are %v", got)
		}
	}
}

// finding NAME [CODE [WORD]]: the answer shows such a finding.
func finding(ts *testscript.TestScript, _ bool, args []string) {
	list, _ := answer(ts)["findings"].([]any)
	for _, x := range list {
		f := x.(object)
		if f["name"] == args[0] && (len(args) < 2 || f["code"] == args[1]) && (len(args) < 3 || strings.Contains(f["text"].(string), args[2])) {
			return
		}
	}
	ts.Fatalf("the findings are %v", list)
}

// because checks that what parts two things, or some link of the chain that joins them, has a name.
func because(ts *testscript.TestScript, list string, names []string) {
	b := answer(ts)
	for _, name := range names {
		found := false
		for _, x := range b[list].([]any) {
			p := x.(object)
			by, _ := p["by"].(object)
			found = found || p["name"] == name || by["cause"] == name
		}
		if !found {
			ts.Fatalf("%s: %v", list, b[list])
		}
	}
}

// value PATH WANT: what stands at a path of the answer, such as [party=D-1].cases.net; count is a
// list's length, and a list is found in by [KEY=VALUE] or [N].
func value(ts *testscript.TestScript, _ bool, args []string) {
	var at any
	ts.Check(json.Unmarshal([]byte(ts.ReadFile("stdout")), &at))
	for _, step := range strings.Split(strings.ReplaceAll(args[0], "[", ".["), ".") {
		if step == "" {
			continue
		}
		next, ok := follow(at, step)
		if !ok {
			ts.Fatalf("there is no %s in %v", step, at)
		}
		at = next
	}
	got := fmt.Sprint(at)
	if list, ok := at.([]any); ok {
		texts := make([]string, len(list))
		for i, x := range list {
			texts[i] = fmt.Sprint(x)
		}
		got = strings.Join(texts, ",")
	}
	if got != args[1] {
		ts.Fatalf("%s is %q, not %q", args[0], got, args[1])
	}
}

func follow(at any, step string) (any, bool) {
	switch x := at.(type) {
	case object:
		v, ok := x[step]
		return v, ok
	case []any:
		if step == "count" {
			return float64(len(x)), true
		}
		key, want, keyed := strings.Cut(strings.Trim(step, "[]"), "=")
		if n, err := strconv.Atoi(key); err == nil && !keyed && n < len(x) {
			return x[n], true
		}
		for _, el := range x {
			if o, ok := el.(object); ok && fmt.Sprint(o[key]) == want {
				return el, true
			}
		}
	}
	return nil, false
}

// papersSay FILE TEXT…: the paper says each text, wherever its lines break.
func papersSay(ts *testscript.TestScript, neg bool, args []string) {
	text := strings.Join(strings.Fields(ts.ReadFile(args[0])), " ")
	for _, want := range args[1:] {
		if strings.Contains(text, want) == neg {
			ts.Fatalf("%s: %q %v in\n%s", args[0], want, !neg, text)
		}
	}
}
