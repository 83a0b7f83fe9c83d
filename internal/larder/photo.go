package larder

import (
	"encoding/hex"
	"fmt"
)

// Photo is a picture of the jar. The picture itself is a file named by its hash;
// the entry's Note says what is to be seen.
type Photo struct {
	SHA256      string `json:"sha256"`       // of the picture kept, in lower-case hexadecimal
	ThumbSHA256 string `json:"thumb_sha256"` // of the small one
	WidthPX     int    `json:"width_px"`
	HeightPX    int    `json:"height_px"`
}

// Kind is KindPhoto.
func (Photo) Kind() Kind { return KindPhoto }

// check holds what the store writes to its own form; nobody types it.
func (b Photo) check(Jar) Problems {
	var p Problems
	if !IsPhotoHash(b.SHA256) || !IsPhotoHash(b.ThumbSHA256) || b.WidthPX < 1 || b.HeightPX < 1 {
		p.Add("photo", "Choose a picture first.")
	}
	return p
}

func (b Photo) words() string { return fmt.Sprintf("photo, %d × %d pixels", b.WidthPX, b.HeightPX) }

// IsPhotoHash tells that text is a SHA-256 as a photo's file is named by.
func IsPhotoHash(text string) bool {
	sum, err := hex.DecodeString(text)
	return err == nil && len(sum) == 32 && hex.EncodeToString(sum) == text
}
