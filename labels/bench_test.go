//go:build unix

package labels

import (
	"bytes"
	"io"
	"runtime"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/jung-kurt/gofpdf"
	qrcode "github.com/skip2/go-qrcode"
)

// BenchmarkThousand prints 1,000 different labels on 3 x 10 Letter sheets and
// compares, interleaved: encoding the symbols alone on all cores, ours, and
// the library's pictures put into a PDF. Goals: cpu-of-encode at most 1.2,
// cpu-of-pictures at most 0.3, wall-of-pictures at most 0.2, at most 700 bytes
// a label.
func BenchmarkThousand(b *testing.B) {
	labels := make([]Label, 1000)
	for i := range labels {
		l := testJar(i)
		l.Batch = "Pear trimmings"
		labels[i] = l
	}
	s := mustStock(b, "letter-3x10")
	var encode, ours, pictures cost
	size := 0
	for b.Loop() {
		encode.add(func() { encodeAll(b, labels) })
		ours.add(func() { size = len(write(b, Sheet{Stock: s}, labels...)) })
		pictures.add(func() { placePictures(b, s, labels) })
	}
	b.ReportMetric(ours.cpu.Seconds()/encode.cpu.Seconds(), "cpu-of-encode")
	b.ReportMetric(ours.cpu.Seconds()/pictures.cpu.Seconds(), "cpu-of-pictures")
	b.ReportMetric(ours.wall.Seconds()/pictures.wall.Seconds(), "wall-of-pictures")
	b.ReportMetric(float64(size)/float64(len(labels)), "B/label")
}

// BenchmarkSheet prints one sheet of 30; goal: under 40 ms of CPU.
func BenchmarkSheet(b *testing.B) {
	labels := make([]Label, 30)
	for i := range labels {
		labels[i] = testJar(i)
	}
	s := mustStock(b, "letter-3x10")
	var c cost
	for b.Loop() {
		c.add(func() {
			if err := Write(io.Discard, Sheet{Stock: s, Date: testDate}, labels); err != nil {
				b.Fatal(err)
			}
		})
	}
	b.ReportMetric(c.cpu.Seconds()*1000/float64(b.N), "cpu-ms/sheet")
}

type cost struct{ cpu, wall time.Duration }

func (c *cost) add(f func()) {
	runtime.GC()
	start, before := time.Now(), cpuTime()
	f()
	c.cpu, c.wall = c.cpu+cpuTime()-before, c.wall+time.Since(start)
}

func cpuTime() time.Duration {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		panic(err)
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

func encodeAll(b *testing.B, labels []Label) {
	var wg sync.WaitGroup
	workers := runtime.GOMAXPROCS(0)
	for k := range workers {
		wg.Go(func() {
			for i := k; i < len(labels); i += workers {
				text, _ := labels[i].codeText()
				q, err := qrcode.New(text, qrcode.High)
				if err != nil {
					b.Error(err)
					return
				}
				q.DisableBorder = true
				q.Bitmap()
			}
		})
	}
	wg.Wait()
}

func placePictures(b *testing.B, s Stock, labels []Label) {
	pdf := gofpdf.NewCustom(&gofpdf.InitType{UnitStr: "mm", Size: gofpdf.SizeType{Wd: s.PageWMM, Ht: s.PageHMM}})
	for i, l := range labels {
		if i%s.Places() == 0 {
			pdf.AddPage()
		}
		text, _ := l.codeText()
		img, err := qrcode.Encode(text, qrcode.High, 256)
		if err != nil {
			b.Fatal(err)
		}
		x, y := s.Place(i % s.Places())
		pdf.RegisterImageOptionsReader(text, gofpdf.ImageOptions{ImageType: "PNG"}, bytes.NewReader(img))
		pdf.ImageOptions(text, x+2, y+2, 21, 21, false, gofpdf.ImageOptions{ImageType: "PNG"}, 0, "")
	}
	if err := pdf.Output(io.Discard); err != nil {
		b.Fatal(err)
	}
}
