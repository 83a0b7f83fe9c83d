package larder

import (
	"strings"
	"testing"
)

func TestMadeOf(t *testing.T) {
	zero, one := 0, 1
	for want, tr := range map[string]Trace{
		"its bottles":            {Subject: Subject{Kind: SubjectLot}},
		"came in since":          {Subject: Subject{Kind: SubjectJar}, Jars: []TraceJar{{Tag: jarA, Forward: &zero}, {Tag: jarB, Back: &one}}},
		"jars that it went into": {Subject: Subject{Kind: SubjectJar}, Jars: []TraceJar{{Tag: jarA, Forward: &zero}, {Tag: jarB, Forward: &one}}},
	} {
		if got := tr.MadeOf(); !strings.Contains(got, want) {
			t.Errorf("%q, want %q", got, want)
		}
	}
}
