package main

import (
	"bytes"
	"strings"
	"testing"
	"time"
)

func TestProgressBar(t *testing.T) {
	var b bytes.Buffer
	bar := progressBar(&b, 1000, "labels", time.Now())
	bar(250)
	if got := b.String(); !strings.Contains(got, "[#######-----------------------] 250 of 1000 labels") {
		t.Errorf("%q", got)
	}
	b.Reset()
	bar(1000) // takes itself away
	if got := b.String(); !strings.HasSuffix(got, " \r") {
		t.Errorf("%q", got)
	}
}
