package photo

import (
	"bytes"
	"encoding/binary"
	"image"
	"image/color"
	"io"
	"strings"

	"github.com/bep/imagemeta"
)

// notRead says what to do with a file that is no picture of a known format, by
// what its first bytes say it is.
func notRead(head []byte) string {
	const instead = " Set the phone's camera to save JPEG (often called most compatible) and take it again, or make a screenshot of the picture and send that."
	if len(head) >= 12 && string(head[4:8]) == "ftyp" {
		// ISO/IEC 14496-12: a file of boxes begins with its brand; ISO/IEC 23008-12
		// names those of HEIF pictures.
		switch brand := string(head[8:12]); {
		case strings.HasPrefix(brand, "hei"), strings.HasPrefix(brand, "hev"), brand == "mif1", brand == "msf1":
			return "This is a HEIC picture, which this station cannot read." + instead
		case strings.HasPrefix(brand, "avi"):
			return "This is an AVIF picture, which this station cannot read." + instead
		}
		return "This is a film, not a picture. Take a picture and send that."
	}
	switch {
	case bytes.HasPrefix(head, []byte("%PDF")):
		return "This is a PDF, not a picture. Take a picture and send that."
	case bytes.HasPrefix(head, []byte("II*\x00")), bytes.HasPrefix(head, []byte("MM\x00*")):
		return "This is a raw or TIFF picture, which this station cannot read." + instead
	case bytes.HasPrefix(head, []byte("\xff\xd8")), bytes.HasPrefix(head, []byte("\x89PNG")), bytes.HasPrefix(head, []byte("GIF8")), bytes.HasPrefix(head, []byte("RIFF")):
		return "The picture is damaged. Take it again, or send another copy of it."
	}
	return "This is not a picture. Send a JPEG, PNG, WebP or GIF, as a phone's camera makes them."
}

// bytesPerPixel bounds the memory that decoding takes for each pixel, with the
// halved picture that scaling begins with.
func bytesPerPixel(r io.ReadSeeker, format string, c image.Config) float64 {
	const halved = 1.0 // a quarter of the pixels at 4 bytes
	switch format {
	case "jpeg":
		planes, progressive := jpegFrame(r)
		if progressive {
			planes *= 5 // a coefficient of 4 bytes is kept for each sample
		}
		return planes + halved
	case "gif":
		return 1 + halved
	case "png":
		const interlaced = 1.5 // its passes are decoded beside it
		switch c.ColorModel {
		case color.RGBA64Model, color.NRGBA64Model:
			return 8*interlaced + halved
		}
		return 4*interlaced + halved
	}
	return 8 + halved // WebP: lossless, or lossy with transparency
}

// jpegFrame reads the frame header of a JPEG (ITU-T T.81, B.2.2): how many
// samples there are for each pixel, and whether it is progressive. Without one
// it says the worst.
func jpegFrame(r io.ReadSeeker) (samples float64, progressive bool) {
	const worst = 4
	if _, err := r.Seek(2, io.SeekStart); err != nil {
		return worst, true
	}
	var head [4]byte
	for {
		if _, err := io.ReadFull(r, head[:]); err != nil || head[0] != 0xff {
			return worst, true
		}
		marker, length := head[1], int64(binary.BigEndian.Uint16(head[2:]))
		if marker < 0xc0 || marker > 0xc2 {
			if _, err := r.Seek(length-2, io.SeekCurrent); err != nil || length < 2 {
				return worst, true
			}
			continue
		}
		frame := make([]byte, max(0, length-2))
		if _, err := io.ReadFull(r, frame); err != nil || len(frame) < 6 {
			return worst, true
		}
		return perPixel(frame), marker == 0xc2
	}
}

// perPixel adds up the sampling factors of a frame's components.
func perPixel(frame []byte) float64 {
	const worst = 4
	parts := frame[6:]
	var sum, widest, tallest int
	for i := 0; i < int(frame[5]) && 3*i+2 < len(parts); i++ {
		h, v := int(parts[3*i+1]>>4), int(parts[3*i+1]&15)
		sum += h * v
		widest, tallest = max(widest, h), max(tallest, v)
	}
	if sum == 0 || widest*tallest == 0 {
		return worst
	}
	return min(worst, float64(sum)/float64(widest*tallest))
}

// orientation is how the picture lies, 1 to 8 as the tag Orientation of Exif has
// it (CIPA DC-008, tag 274); 1, upright, when it does not say or cannot be read.
func orientation(r io.ReadSeeker, format string) int {
	formats := map[string]imagemeta.ImageFormat{"jpeg": imagemeta.JPEG, "png": imagemeta.PNG, "webp": imagemeta.WebP}
	kind, ok := formats[format]
	if !ok {
		return 1
	}
	if _, err := r.Seek(0, io.SeekStart); err != nil {
		return 1
	}
	lies := 1
	// What is wrong with the metadata does not make the picture wrong.
	_, _ = imagemeta.Decode(imagemeta.Options{
		R: r, ImageFormat: kind, Sources: imagemeta.EXIF,
		ShouldHandleTag: func(t imagemeta.TagInfo) bool { return t.Namespace == "IFD0" && t.Tag == "Orientation" },
		HandleTag: func(t imagemeta.TagInfo) error {
			if v, ok := t.Value.(uint16); ok && v >= 1 && v <= 8 {
				lies = int(v)
			}
			return imagemeta.ErrStopWalking
		},
	})
	return lies
}
