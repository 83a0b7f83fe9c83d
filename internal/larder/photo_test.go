package larder

import (
	"strings"
	"testing"
)

// aHash is the SHA-256 of nothing (FIPS 180-4; the value as many programs print it).
const aHash = "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"

func TestPhoto(t *testing.T) {
	whole := Photo{SHA256: aHash, ThumbSHA256: aHash, WidthPX: 1600, HeightPX: 1200}
	jar := shelfJar(Acetic)
	if err := (NewEntry{Body: whole}).Check(jar, testNow); err != nil {
		t.Errorf("a photo without a note: %v", err)
	}
	for name, b := range map[string]Photo{
		"none": {}, "no small one": {SHA256: aHash, WidthPX: 1, HeightPX: 1}, "no size": {SHA256: aHash, ThumbSHA256: aHash},
	} {
		p, _ := (NewEntry{Body: b}).Check(jar, testNow).(Problems)
		if len(p) != 1 || p[0].Field != "photo" {
			t.Errorf("%s: %v", name, p)
		}
	}
	// What went wrong in a jar may be shown after it was emptied.
	for stage, may := range map[Stage]bool{Discarded: true, Empty: true, Void: false} {
		jar.State.Stage = stage
		if err := (NewEntry{Body: whole}).Check(jar, testNow); (err == nil) != may {
			t.Errorf("a photo of a jar that is %s: %v", stage, err)
		}
	}
	for text, ok := range map[string]bool{aHash: true, strings.ToUpper(aHash): false, aHash[1:]: false, "../../etc/passwd": false, "": false, aHash + "\n": false} {
		if IsPhotoHash(text) != ok {
			t.Errorf("%q is a hash: %v", text, !ok)
		}
	}
}
