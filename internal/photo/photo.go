// Package photo makes a picture that a phone sent safe to keep and small enough
// to show: turned upright, scaled down, and encoded afresh, so that nothing of
// the file that came in is left but what the picture shows: no place, no time,
// no name of the camera, no colour profile.
//
// A picture is looked at before it is decoded: one that would take too much
// memory is refused, and no more are decoded at once than fit into a budget.
package photo

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"image"
	_ "image/gif" // the first frame of it
	"image/jpeg"
	_ "image/png"
	"io"

	_ "golang.org/x/image/webp"
	"golang.org/x/sync/semaphore"

	"cruet/internal/larder"
)

// The sizes of what comes in and of what is kept.
const (
	MaxBytes  = 20 << 20   // of the file sent
	MaxPixels = 64_000_000 // of the picture sent
	LongestPX = 1600       // longest side of the picture kept
	ThumbPX   = 320        // longest side of the small one

	quality = 80 // JPEG, of both

	// budgetBytes bounds the memory of all pictures that are decoded at once.
	budgetBytes = 256_000_000
)

// MediaTypes are what can be read, for the accept attribute of a form.
const MediaTypes = "image/jpeg,image/png,image/webp,image/gif"

// Kept is one JPEG, upright, without metadata.
type Kept struct {
	JPEG              []byte
	SHA256            string // of JPEG, in lower-case hexadecimal
	WidthPX, HeightPX int
}

// Prepared is a picture in the two sizes that are kept.
type Prepared struct{ Full, Thumb Kept }

var decoding = semaphore.NewWeighted(budgetBytes)

// Prepare reads a JPEG, PNG, WebP or GIF of at most MaxBytes. What is no such
// picture, or too large a one, is a larder.Problems about the field "photo" that
// says what to do. It waits while other pictures fill the memory, until ctx ends.
func Prepare(ctx context.Context, r io.ReadSeeker) (p Prepared, err error) {
	err = read(ctx, r, func(picture image.Image, turn int) error {
		full := upright(shrink(picture, LongestPX), turn)
		if p.Full, err = keep(full); err != nil {
			return err
		}
		p.Thumb, err = keep(shrink(full, ThumbPX))
		return err
	})
	return p, err
}

// Read hands a picture of which nothing is kept to use, as it lies in the file;
// otherwise it is like Prepare.
func Read(ctx context.Context, r io.ReadSeeker, use func(image.Image) error) error {
	return read(ctx, r, func(picture image.Image, _ int) error { return use(picture) })
}

// read decodes a picture and hands it on, with how it lies. Until that ends, its
// memory counts.
func read(ctx context.Context, r io.ReadSeeker, use func(picture image.Image, turn int) error) error {
	size, err := r.Seek(0, io.SeekEnd)
	if err != nil {
		return fmt.Errorf("photo: reading the picture: %w", err)
	}
	if err := checkSize(size); err != nil {
		return err
	}
	work, err := look(r)
	if err != nil {
		return err
	}
	if err := decoding.Acquire(ctx, work.bytes); err != nil {
		return fmt.Errorf("photo: waiting for other pictures: %w", err)
	}
	defer decoding.Release(work.bytes)

	turn := orientation(r, work.format)
	if _, err := r.Seek(0, io.SeekStart); err != nil {
		return fmt.Errorf("photo: reading the picture: %w", err)
	}
	picture, _, err := image.Decode(r)
	if err != nil {
		return refuse("The picture is broken off or damaged. Take it again, or send another copy of it.")
	}
	return use(picture, turn)
}

func checkSize(bytes int64) error {
	switch {
	case bytes == 0:
		return refuse("The picture arrived empty. Choose it again.")
	case bytes > MaxBytes:
		return refuse(fmt.Sprintf("The picture has %.1f MB; up to %d MB can be sent. Set the camera to a smaller size and take it again.", float64(bytes)/(1<<20), MaxBytes>>20))
	}
	return nil
}

func refuse(sentence string) error { return larder.Refuse("photo", sentence) }

// keep encodes a picture, which writes the pixels and nothing else.
func keep(m image.Image) (Kept, error) {
	var b bytes.Buffer
	if err := jpeg.Encode(&b, m, &jpeg.Options{Quality: quality}); err != nil {
		return Kept{}, fmt.Errorf("photo: encoding the picture: %w", err)
	}
	sum := sha256.Sum256(b.Bytes())
	return Kept{JPEG: b.Bytes(), SHA256: hex.EncodeToString(sum[:]), WidthPX: m.Bounds().Dx(), HeightPX: m.Bounds().Dy()}, nil
}

// task is what decoding a picture takes.
type task struct {
	format string
	bytes  int64 // of memory
}

// look reads the head of the picture alone and refuses what is none, or is too
// large to decode.
func look(r io.ReadSeeker) (task, error) {
	if _, err := r.Seek(0, io.SeekStart); err != nil {
		return task{}, fmt.Errorf("photo: reading the picture: %w", err)
	}
	head := make([]byte, 32)
	n, err := io.ReadFull(r, head)
	if err != nil && !errors.Is(err, io.ErrUnexpectedEOF) {
		return task{}, fmt.Errorf("photo: reading the picture: %w", err)
	}
	if _, err := r.Seek(0, io.SeekStart); err != nil {
		return task{}, fmt.Errorf("photo: reading the picture: %w", err)
	}
	config, format, err := image.DecodeConfig(r)
	if err != nil {
		return task{}, refuse(notRead(head[:n]))
	}
	pixels := int64(config.Width) * int64(config.Height)
	if config.Width <= 0 || config.Height <= 0 {
		return task{}, refuse("The picture has no size. Take it again.")
	}
	// Each side is bounded too, so that the product is true.
	const side = 1 << 20
	if config.Width > side || config.Height > side || pixels > MaxPixels {
		return task{}, tooLarge(config)
	}
	t := task{format: format, bytes: int64(float64(pixels) * bytesPerPixel(r, format, config))}
	if t.bytes > budgetBytes {
		return task{}, tooLarge(config)
	}
	return t, nil
}

func tooLarge(c image.Config) error {
	return refuse(fmt.Sprintf("The picture is %d by %d pixels, which is more than this station can take in. Set the camera to 12 megapixels or so and take it again.", c.Width, c.Height))
}
