package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/cdproto/target"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
	"github.com/stretchr/testify/require"

	"heeltap/cmd/internal/demo"
	"heeltap/cmd/internal/people"
)

// tabs are the sizes at which pages are looked at: a small telephone, and a screen on a desk.
var tabs = map[string][2]int64{"phone": {360, 780}, "desk": {1280, 900}}

// served is the demo's pages being served, with what a test needs to get in.
type served struct {
	t        *testing.T
	base     string
	db       string
	password string
}

// demoFiles builds the demo once for all tests that need it; each works on a copy.
var demoFiles = sync.OnceValues(func() (string, error) {
	folder, err := os.MkdirTemp("", "heeltap-pages")
	if err != nil {
		return "", err
	}
	e := testEnv(&bytes.Buffer{})
	return folder, e.demo(context.Background(), folder, demo.AtWork())
})

func testEnv(out *bytes.Buffer) *env {
	return &env{in: strings.NewReader(""), out: out, errOut: out, getenv: func(string) string { return "" }, now: time.Now}
}

// openHouse serves a copy of the demo on a free port until the test ends.
func openHouse(t *testing.T) *served {
	t.Helper()
	demo, err := demoFiles()
	require.NoError(t, err)
	folder := t.TempDir()
	db := filepath.Join(folder, demoFile)
	data, err := os.ReadFile(filepath.Join(demo, demoFile))
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(db, data, 0o600))
	free, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	address := free.Addr().String()
	require.NoError(t, free.Close())

	var out bytes.Buffer
	e := testEnv(&out)
	e.db = db
	ctx, stop := context.WithCancel(context.Background())
	personas, err := e.castOf(ctx, people.PathFor(db))
	require.NoError(t, err)
	done := make(chan error, 1)
	go func() {
		done <- e.serve(ctx, serving{listen: address, personas: personas, story: true, patience: time.Minute})
	}()
	t.Cleanup(func() {
		stop()
		require.NoError(t, <-done, out.String())
		if t.Failed() {
			t.Log(out.String())
		}
	})
	for i := 0; ; i++ {
		c, err := net.Dial("tcp", address)
		if err == nil {
			c.Close()
			break
		}
		require.Less(t, i, 200, "the server did not start: %s", &out)
		time.Sleep(20 * time.Millisecond)
	}
	return &served{t, "http://" + address, db, personas[0].Password}
}

// browser is one person with one browser.
type browser struct {
	t    *testing.T
	ctx  context.Context
	base string
	tab  string
	bare bool // it runs no scripts
}

// chromiumPath finds the browser; empty where there is none.
func chromiumPath() string {
	for _, name := range []string{"chromium", "chromium-browser", "google-chrome"} {
		if path, err := exec.LookPath(name); err == nil {
			return path
		}
	}
	return ""
}

// chromium skips a test where there is no browser, and fails it where all checks must run.
func chromium(t *testing.T) {
	t.Helper()
	switch {
	case chromiumPath() != "":
	case os.Getenv("HEELTAP_CI") != "":
		t.Fatal("no chromium: install it")
	default:
		t.Skip("no chromium: pages are not tried in a browser")
	}
}

// oneBrowser is started once for all tests; each person gets a profile of their own in it.
var oneBrowser = sync.OnceValues(func() (context.Context, error) {
	folder, err := os.MkdirTemp("", "heeltap-browser")
	if err != nil {
		return nil, err
	}
	options := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(chromiumPath()), chromedp.NoSandbox, chromedp.DisableGPU,
		chromedp.Flag("disable-quic", true), chromedp.Flag("disable-background-networking", true), chromedp.Flag("disable-sync", true),
		chromedp.UserDataDir(folder))
	actx, _ := chromedp.NewExecAllocator(context.Background(), options...) // it ends with the tests
	ctx, _ := chromedp.NewContext(actx)
	return ctx, chromedp.Run(ctx)
})

// newProfile opens an empty window with cookies of its own.
func newProfile(first context.Context) (target.ID, error) {
	ctx := cdp.WithExecutor(first, chromedp.FromContext(first).Browser)
	profile, err := target.CreateBrowserContext().WithDisposeOnDetach(true).Do(ctx)
	if err != nil {
		return "", err
	}
	return target.CreateTarget("about:blank").WithBrowserContextID(profile).WithNewWindow(true).Do(ctx)
}

// browse opens a browser at a size, signed in as one of the demo's persons; as nobody where login is empty.
func (h *served) browse(t *testing.T, tab, login string) *browser {
	t.Helper()
	chromium(t)
	first, err := oneBrowser()
	require.NoError(t, err)
	id, err := newProfile(first)
	require.NoError(t, err)
	ctx, end := chromedp.NewContext(first, chromedp.WithTargetID(id))
	t.Cleanup(end)
	require.NoError(t, chromedp.Run(ctx)) // without a deadline: the profile would end with it
	size := tabs[tab]
	b := &browser{t: t, ctx: ctx, base: h.base, tab: tab}
	b.do(emulation.SetDeviceMetricsOverride(size[0], size[1], 1, tab == "phone"))
	if login != "" {
		b.goTo("/signin")
		b.fill("login", login)
		b.fill("password", h.password)
		b.press("main form button.main")
	}
	return b
}

func (b *browser) do(actions ...chromedp.Action) {
	b.t.Helper()
	ctx, cancel := context.WithTimeout(b.ctx, 30*time.Second)
	defer cancel()
	if err := chromedp.Run(ctx, actions...); err != nil {
		b.t.Fatalf("%v\non %s\n%s", err, b.where(), b.text())
	}
}

// goTo opens a page.
func (b *browser) goTo(path string) {
	b.t.Helper()
	b.do(chromedp.Navigate(b.base+path), chromedp.WaitReady("#main"))
}

// press touches a button or link and waits for the page that follows.
func (b *browser) press(selector string) {
	b.t.Helper()
	was := b.mark()
	b.do(chromedp.Click(selector, chromedp.ByQuery))
	b.follow(was)
}

// mark puts a mark on the page as it is, so that the next one can be told from it.
func (b *browser) mark() string {
	mark := fmt.Sprint(time.Now().UnixNano())
	b.do(chromedp.Evaluate(`document.getElementById("main").dataset.mark = "`+mark+`"`, nil))
	return mark
}

// follow waits until another page than the marked one is whole.
func (b *browser) follow(was string) {
	b.t.Helper()
	for end := time.Now().Add(30 * time.Second); time.Now().Before(end); time.Sleep(25 * time.Millisecond) {
		var there bool
		ctx, cancel := context.WithTimeout(b.ctx, 5*time.Second)
		err := chromedp.Run(ctx, chromedp.Evaluate(`document.readyState === "complete" && !!document.getElementById("main") && document.getElementById("main").dataset.mark !== "`+was+`"`, &there))
		cancel()
		if err == nil && there { // while the page changes there is none to ask
			return
		}
	}
	b.t.Fatalf("no other page came\non %s\n%s", b.where(), b.text())
}

// fill types into a field by its name.
func (b *browser) fill(name, text string) {
	b.t.Helper()
	selector := `main [name="` + name + `"]:not([type=hidden])`
	b.do(chromedp.Clear(selector, chromedp.ByQuery), chromedp.SendKeys(selector, text, chromedp.ByQuery))
}

// choose picks from a list by its name.
func (b *browser) choose(name, value string) {
	b.t.Helper()
	b.do(chromedp.SetValue(`main select[name="`+name+`"]`, value, chromedp.ByQuery))
}

// scan types into whatever has the focus, as a scanner does: the code and an Enter behind it.
func (b *browser) scan(text string) {
	b.t.Helper()
	b.do(chromedp.KeyEvent(text + kb.Enter))
}

// find scans into the box on top.
func (b *browser) find(text string) {
	b.t.Helper()
	was := b.mark()
	b.do(chromedp.Clear("#q", chromedp.ByQuery), chromedp.SendKeys("#q", text+kb.Enter, chromedp.ByQuery))
	b.follow(was)
}

// text is what the page says.
func (b *browser) text() (text string) {
	ctx, cancel := context.WithTimeout(b.ctx, 5*time.Second)
	defer cancel()
	_ = chromedp.Run(ctx, chromedp.Evaluate(`document.body ? document.body.innerText : ""`, &text)) // for messages of failure too
	return text
}

func (b *browser) where() (path string) {
	ctx, cancel := context.WithTimeout(b.ctx, 5*time.Second)
	defer cancel()
	_ = chromedp.Run(ctx, chromedp.Evaluate(`location.pathname + location.search`, &path))
	return path
}

// says checks that the page says something.
func (b *browser) says(want ...string) {
	b.t.Helper()
	text := b.text()
	for _, w := range want {
		require.Contains(b.t, text, w, "on %s", b.where())
	}
}

// shot keeps a picture of the page where HEELTAP_SHOTS names a folder, checks that nothing is wider than the screen, and
// has axe look at it where HEELTAP_AXE names its file.
func (b *browser) shot(name string) {
	b.t.Helper()
	var wide bool
	b.do(chromedp.Evaluate(`document.documentElement.scrollWidth > document.documentElement.clientWidth`, &wide))
	if wide {
		b.t.Errorf("%s is wider than the screen (%s)", b.where(), b.tab)
	}
	b.axe()
	folder := os.Getenv("HEELTAP_SHOTS")
	if folder == "" {
		return
	}
	var data []byte
	b.do(chromedp.ActionFunc(func(ctx context.Context) (err error) {
		data, err = page.CaptureScreenshot().WithFormat(page.CaptureScreenshotFormatPng).WithCaptureBeyondViewport(true).Do(ctx)
		return err
	}))
	require.NoError(b.t, os.MkdirAll(folder, 0o755))
	require.NoError(b.t, os.WriteFile(filepath.Join(folder, b.tab+"-"+name+".png"), data, 0o644))
}

// axe has axe-core judge the page by WCAG 2.2 AA: nothing serious or critical may be left.
func (b *browser) axe() {
	b.t.Helper()
	file := os.Getenv("HEELTAP_AXE")
	if b.bare {
		return // axe is a script too: it sees the page with scripts on
	}
	if file == "" {
		if os.Getenv("HEELTAP_CI") != "" {
			b.t.Error("HEELTAP_AXE does not name axe.min.js")
		}
		return
	}
	script, err := os.ReadFile(file)
	require.NoError(b.t, err)
	var found string
	b.do(chromedp.Evaluate(string(script)+`;0`, nil),
		chromedp.Evaluate(`axe.run(document, {runOnly: ["wcag2a","wcag2aa","wcag21a","wcag21aa","wcag22aa","best-practice"]}).then(r => JSON.stringify(r.violations.filter(v => v.impact === "serious" || v.impact === "critical").map(v => ({id: v.id, help: v.help, nodes: v.nodes.map(n => n.html).slice(0, 3)}))))`,
			&found, awaited))
	var violations []map[string]any
	require.NoError(b.t, json.Unmarshal([]byte(found), &violations))
	require.Empty(b.t, violations, "on %s", b.where())
}

// awaited waits for what a script promises.
func awaited(p *runtime.EvaluateParams) *runtime.EvaluateParams { return p.WithAwaitPromise(true) }

// focus puts the cursor into a field by its name.
func focus(name string) chromedp.Action {
	return chromedp.Focus(`main [name="`+name+`"]`, chromedp.ByQuery)
}

func click(selector string) chromedp.Action { return chromedp.Click(selector, chromedp.ByQuery) }

func typing(selector, text string) chromedp.Action {
	return chromedp.SendKeys(selector, text, chromedp.ByQuery)
}
