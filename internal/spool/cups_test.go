//go:build unix

package spool

import (
	"bytes"
	"context"
	"fmt"
	"image"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"cruet/internal/needed"
	"cruet/labels"
	"cruet/labels/readback"
)

// A real spooler, CUPS, with a printer that keeps what it gets, both on the
// loopback address and in a folder of this test: the labels that went in come
// out at the printer and read back.
func TestRealSpooler(t *testing.T) {
	printer := realPrinter(t)
	ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
	defer cancel()
	names, err := Printers(ctx)
	if err != nil || !slices.Contains(names, printer.name) {
		t.Fatalf("printers: %v, %v", names, err)
	}
	stock, err := labels.StockByID("letter-3x10")
	if err != nil {
		t.Fatal(err)
	}
	var want []string
	var list []labels.Label
	for i := range 5 {
		tag := fmt.Sprintf("K7RM%d4", i)
		want = append(want, "http://LARDER.LOCAL:8080/J/"+tag)
		list = append(list, labels.SpareLabel{URL: want[i], Tag: tag})
	}
	var pdf bytes.Buffer
	made, err := labels.Print(ctx, &pdf, labels.Sheet{Stock: stock}, list, nil)
	if err != nil {
		t.Fatal(err)
	}
	id, err := Send(ctx, Job{Printer: printer.name, Title: "labels", PDF: pdf.Bytes(), PageWMM: stock.PageWMM, PageHMM: made.PageHMM, DPI: made.Worst.DPI})
	if err != nil || !strings.HasPrefix(id, printer.name+"-") {
		t.Fatalf("%q, %v", id, err)
	}
	var got []string
	err = readback.Pages(printer.received(t, ctx), func(_ int, page *image.Gray) error {
		// 300 dots per inch: what was letter size still is.
		if w := float64(page.Rect.Dx()) / 300 * 25.4; w < 215 || w > 217 {
			t.Errorf("the page came out %.1f mm wide", w)
		}
		for _, f := range readback.Codes(page) {
			got = append(got, f.Text)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	slices.Sort(got)
	if !slices.Equal(got, want) {
		t.Errorf("the printer got %q", got)
	}
	// A queue that was closed gives its own reason.
	printer.run(t, "cupsreject", "-r", "no labels in the tray", printer.name)
	if _, err := Send(ctx, Job{Printer: printer.name, Title: "more", PDF: pdf.Bytes(), PageWMM: 210, PageHMM: 297}); err == nil || !strings.Contains(err.Error(), "not accepting jobs") {
		t.Errorf("a closed queue: %v", err)
	}
}

// realPrinterFixture is a spooler's queue for a printer that keeps its files.
type realPrinterFixture struct {
	name, dir string
	env       []string
}

func realPrinter(t *testing.T) *realPrinterFixture {
	t.Helper()
	// Where Debian puts what only root runs.
	t.Setenv("PATH", os.Getenv("PATH")+":/usr/sbin:/sbin")
	for _, program := range []string{"cupsd", "ippeveprinter", "lpadmin", "lp", "lpstat", "cupsreject", "dbus-daemon", "avahi-daemon"} {
		if _, err := exec.LookPath(program); err != nil {
			needed.Missing(t, program+" is not installed")
		}
	}
	if os.Geteuid() != 0 {
		needed.Missing(t, "cupsd is started by root only")
	}
	p := &realPrinterFixture{name: "keeper", dir: t.TempDir()}
	spooler, printer := freePort(t), freePort(t)
	p.configure(t, spooler)
	bus := "DBUS_SYSTEM_BUS_ADDRESS=unix:path=" + p.path("bus")
	p.env = append(os.Environ(), bus)
	// The printer insists on announcing itself: a bus and an announcer of its
	// own, on the loopback interface alone.
	p.start(t, "dbus-daemon", "--config-file="+p.path("bus.conf"), "--nofork")
	waitFor(t, "the message bus", func() bool { _, err := os.Stat(p.path("bus")); return err == nil })
	announcer := p.start(t, "avahi-daemon", "-f", p.path("avahi.conf"), "--no-drop-root", "--no-chroot", "--no-rlimits")
	waitFor(t, "the announcer", func() bool { return strings.Contains(announcer.text(), "startup complete") })
	p.start(t, "ippeveprinter", "-n", "localhost", "-p", fmt.Sprint(printer), "-d", p.path("received"), "-k", "-f", "application/pdf", "Keeper")
	waitFor(t, "the printer", func() bool { return answers(printer) })
	p.start(t, "cupsd", "-f", "-c", p.path("cupsd.conf"), "-s", p.path("files.conf"))
	waitFor(t, "the spooler", func() bool { return answers(spooler) })
	t.Setenv("CUPS_SERVER", fmt.Sprintf("127.0.0.1:%d", spooler))
	p.env = append(os.Environ(), bus)
	p.run(t, "lpadmin", "-p", p.name, "-E", "-v", fmt.Sprintf("ipp://localhost:%d/ipp/print", printer), "-m", "everywhere")
	return p
}

func (p *realPrinterFixture) path(name string) string { return filepath.Join(p.dir, name) }

func (p *realPrinterFixture) configure(t *testing.T, port int) {
	t.Helper()
	for _, dir := range []string{filepath.Dir(p.dir), p.dir} { // its filters run as another user
		if err := os.Chmod(dir, 0o755); err != nil {
			t.Fatal(err)
		}
	}
	for _, dir := range []string{"root", "spool", "cache", "state", "received"} {
		if err := os.MkdirAll(p.path(dir), 0o755); err != nil {
			t.Fatal(err)
		}
	}
	files := map[string]string{
		"cupsd.conf": fmt.Sprintf("Listen 127.0.0.1:%d\nBrowsing Off\nWebInterface No\nDefaultAuthType None\n<Location />\nOrder allow,deny\nAllow from 127.0.0.1\n</Location>\n<Policy default>\n<Limit All>\nOrder allow,deny\nAllow from 127.0.0.1\n</Limit>\n</Policy>\n", port),
		"files.conf": fmt.Sprintf("ServerRoot %s\nRequestRoot %s\nCacheDir %s\nStateDir %s\nTempDir %s\nDataDir /usr/share/cups\nServerBin /usr/lib/cups\nAccessLog %s\nErrorLog %s\nPageLog %s\n",
			p.path("root"), p.path("spool"), p.path("cache"), p.path("state"), p.path("spool"), p.path("access.log"), p.path("error.log"), p.path("page.log")),
		"bus.conf":   "<busconfig><type>system</type><listen>unix:path=" + p.path("bus") + `</listen><policy context="default"><allow user="*"/><allow own="*"/><allow send_destination="*"/><allow receive_sender="*"/></policy></busconfig>`,
		"avahi.conf": "[server]\nallow-interfaces=lo\nuse-ipv6=no\n",
	}
	for name, text := range files {
		if err := os.WriteFile(p.path(name), []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
}

// said collects what a program says.
type said struct{ file string }

func (s said) text() string {
	data, _ := os.ReadFile(s.file) // not there yet: nothing said
	return string(data)
}

// start runs a program until the test ends.
func (p *realPrinterFixture) start(t *testing.T, name string, args ...string) said {
	t.Helper()
	out, err := os.Create(p.path(name + ".out"))
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(name, args...)
	cmd.Env, cmd.Stdout, cmd.Stderr = p.env, out, out
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if t.Failed() {
			t.Logf("%s said:\n%s", name, said{out.Name()}.text())
		}
		_ = cmd.Process.Signal(os.Interrupt) // so that it takes its own files away
		time.AfterFunc(3*time.Second, func() { _ = cmd.Process.Kill() })
		_ = cmd.Wait() // killed
		_ = out.Close()
	})
	return said{out.Name()}
}

func (p *realPrinterFixture) run(t *testing.T, name string, args ...string) {
	t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), 30*time.Second)
	defer cancel()
	cmd := exec.CommandContext(ctx, name, args...)
	cmd.Env = p.env
	if out, err := cmd.CombinedOutput(); err != nil {
		t.Fatalf("%s %v: %v\n%s", name, args, err, out)
	}
}

// received is the file that the printer got, once it is whole.
func (p *realPrinterFixture) received(t *testing.T, ctx context.Context) (pdf []byte) {
	t.Helper()
	waitFor(t, "the file at the printer", func() bool {
		names, _ := filepath.Glob(p.path("received/*.pdf"))
		if len(names) == 0 || ctx.Err() != nil {
			return false
		}
		pdf, _ = os.ReadFile(names[0])
		return bytes.HasSuffix(bytes.TrimSpace(pdf), []byte("%%EOF"))
	})
	return pdf
}

func waitFor(t *testing.T, what string, ready func() bool) {
	t.Helper()
	for range 300 {
		if ready() {
			return
		}
		time.Sleep(100 * time.Millisecond)
	}
	t.Fatalf("%s did not get ready", what)
}

func freePort(t *testing.T) int {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	return l.Addr().(*net.TCPAddr).Port
}

func answers(port int) bool {
	c, err := net.DialTimeout("tcp", fmt.Sprintf("127.0.0.1:%d", port), time.Second)
	if err == nil {
		c.Close()
	}
	return err == nil
}
