//go:build unix

package labels

import (
	"bytes"
	"image/jpeg"
	"testing"
	"time"
)

// BenchmarkPhoto reads a photograph of 12 megapixels, from the JPEG on. Times are the
// machine's, so it also tells how many times the processor's work that is of decoding the
// JPEG alone by the standard library, each as often and in turn.
func BenchmarkPhoto(b *testing.B) {
	c := mustCode(b, "http://192.168.178.114:8080/J/K7RM4T", LevelQ)
	const dots, dpi = 5, 203
	module := dots * DotMM(dpi)
	middle := float64(c.Size()+2*QuietModules) * module / 2
	us := target{text: c.Text, picture: picture(c, dots), perMM: dpi / mmPerInch, xMM: middle, yMM: middle, sideMM: module * float64(c.Size()), moduleMM: module}
	for name, s := range map[string]shot{"near": {zoom: 3, blurPx: 2, noise: 8, rollDeg: 30}, "far": {zoom: 1, blurPx: 0.5, noise: 8}} {
		data := wholePhoto(b, us, s, 3)
		b.Run(name, func(b *testing.B) {
			var cpu, read, decoded time.Duration // of the processor; on the clock; of the processor
			for b.Loop() {
				before, begun := cpuTime(), time.Now()
				if texts := readPhoto(b, data); len(texts) != 1 {
					b.Fatal("not read")
				}
				cpu, read = cpu+cpuTime()-before, read+time.Since(begun)
				before = cpuTime()
				if _, err := jpeg.Decode(bytes.NewReader(data)); err != nil {
					b.Fatal(err)
				}
				decoded += cpuTime() - before
			}
			b.ReportMetric(float64(cpu.Milliseconds())/float64(b.N), "cpu-ms")
			b.ReportMetric(float64(read.Milliseconds())/float64(b.N), "read-ms")
			b.ReportMetric(float64(cpu)/float64(decoded), "x-jpeg")
		})
	}
	blank := target{perMM: 8, xMM: 15, yMM: 15, sideMM: 18, moduleMM: 0.6, picture: bilevel(picture(Code{size: 21, black: make([]bool, 21*21)}, 8))}
	nothing := wholePhoto(b, blank, shot{zoom: 2}, 1)
	b.Run("nothing", func(b *testing.B) {
		before := cpuTime()
		for b.Loop() {
			readPhoto(b, nothing)
		}
		b.ReportMetric(float64((cpuTime()-before).Milliseconds())/float64(b.N), "cpu-ms")
	})
}
