package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"image"
	_ "image/jpeg" // photographs
	_ "image/png"  // scans
	"io/fs"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"text/tabwriter"

	"github.com/spf13/cobra"
	_ "golang.org/x/image/tiff" // scanners
	_ "golang.org/x/image/webp" // phones

	"cruet/internal/larder"
	"cruet/internal/store"
	"cruet/labels/readback"
)

// readCode is one code that was read back.
type readCode struct {
	File    string     `json:"file"`
	Page    int        `json:"page"`
	Text    string     `json:"text"`
	Tag     larder.Tag `json:"tag,omitempty"`
	Known   bool       `json:"known"`             // the tag is in this kitchen's records
	Is      string     `json:"is"`                // in words
	Address string     `json:"address,omitempty"` // HOST:PORT that it names
	Moved   bool       `json:"moved,omitempty"`   // the station is elsewhere now
}

const (
	maxReadBytes   = 256 << 20
	maxPicturePx   = 120_000_000
	wrongCodesHint = `"cruet jars" lists the tags of all jars, "cruet lots" the bottles. Print what is wrong again.`
)

// testLabelsCommand reads printed labels back.
func (a *app) testLabelsCommand() *cobra.Command {
	cmd := &cobra.Command{
		Use: "test FILE...", Short: "Read the codes of printed labels back from a PDF, a scan or a photograph",
		Long: `Read the codes of labels back: from the PDF before it is printed, from a scanned
page, or from a photograph of the jars (PDF, PNG, JPEG, TIFF or WebP). Each code is
listed with what it says and whether its tag is in the records. It fails when no
code can be read, or when one names nothing here.`,
		Example: `  cruet labels test labels.pdf
  cruet labels test IMG_0412.jpg --json`,
		Args: atLeastOne("The FILE to read"),
	}
	asJSON := jsonFlag(cmd)
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		var codes []readCode
		for _, name := range args {
			some, err := readCodes(name)
			if err != nil {
				return err
			}
			codes = append(codes, some...)
		}
		if len(codes) == 0 {
			return fail("A photograph should be sharp, straight on and well lit; a scan at 300 dpi or more.", "No code could be read in %s.", strings.Join(args, ", "))
		}
		if err := a.identify(cmd, codes); err != nil {
			return err
		}
		if err := a.listCodes(codes, *asJSON); err != nil {
			return err
		}
		wrong := 0
		for _, c := range codes {
			if !c.Known {
				wrong++
			}
		}
		if wrong > 0 {
			return fail(wrongCodesHint, "%d of %d codes name nothing in this kitchen's records.", wrong, len(codes))
		}
		return nil
	}
	return cmd
}

func readCodes(name string) (codes []readCode, err error) {
	data, err := readAtMost(name, maxReadBytes)
	if err != nil {
		return nil, &hinted{err, "Name a PDF or a picture (PNG, JPEG, TIFF or WebP)."}
	}
	add := func(page int, picture image.Image) {
		for _, f := range readback.Codes(picture) {
			codes = append(codes, readCode{File: filepath.Base(name), Page: page + 1, Text: f.Text})
		}
	}
	if bytes.HasPrefix(data, []byte("%PDF")) {
		err = readback.Pages(data, func(page int, picture *image.Gray) error {
			add(page, picture)
			return nil
		})
	} else {
		var picture image.Image
		if picture, err = decodePicture(data); err == nil {
			add(0, picture)
		}
	}
	if err != nil {
		return nil, &hinted{fmt.Errorf("reading %s: %w", name, err), "Name a PDF or a picture (PNG, JPEG, TIFF or WebP)."}
	}
	return codes, nil
}

func decodePicture(data []byte) (image.Image, error) {
	config, _, err := image.DecodeConfig(bytes.NewReader(data))
	if err != nil {
		return nil, err
	}
	if config.Width > maxPicturePx/max(config.Height, 1) {
		return nil, fmt.Errorf("the picture has %d x %d pixels, which is too many; make it smaller first", config.Width, config.Height)
	}
	picture, _, err := image.Decode(bytes.NewReader(data))
	return picture, err
}

// identify looks the codes' tags up, when there are records.
func (a *app) identify(cmd *cobra.Command, codes []readCode) error {
	dir, err := a.dataDir()
	if err != nil {
		return err
	}
	if _, err := os.Stat(filepath.Join(dir, store.FileName)); errors.Is(err, fs.ErrNotExist) {
		for i := range codes {
			codes[i].Is = "there are no records to look it up in"
		}
		return nil
	}
	return a.inKitchen(cmd, existing, func(ctx context.Context, r room) error {
		for i := range codes {
			if err := codes[i].identify(ctx, r); err != nil {
				return err
			}
		}
		return nil
	})
}

func (c *readCode) identify(ctx context.Context, r room) error {
	link, err := url.Parse(c.Text)
	last := ""
	if err == nil {
		last = link.Path[strings.LastIndexByte(link.Path, '/')+1:]
		c.Address = link.Host
	}
	tag, _, err := larder.ParseTag(last)
	if err != nil {
		c.Is = "no label of Cruet"
		return nil
	}
	c.Tag = tag
	c.Moved = r.kitchen.Address != "" && c.Address != "" && !strings.EqualFold(c.Address, r.kitchen.Address)
	c.Is, err = whatWears(ctx, r, tag)
	var missing *larder.NotFoundError
	if errors.As(err, &missing) {
		c.Is = "not in the records"
		return nil
	}
	c.Known = err == nil
	return err
}

// whatWears says in words what has a tag.
func whatWears(ctx context.Context, r room, tag larder.Tag) (string, error) {
	if tag.IsBottle() {
		b, err := r.db.BottleByTag(ctx, tag)
		if err != nil {
			return "", err
		}
		return fmt.Sprintf("bottle %d of lot %s, %s", b.Bottle.Number, b.Lot.ID, b.Lot.Name), nil
	}
	kind, err := r.db.TagKind(ctx, tag)
	if err != nil {
		return "", err
	}
	if kind == "spare" {
		return "a spare tag", nil
	}
	jar, err := r.db.Jar(ctx, tag)
	if err != nil {
		return "", err
	}
	batch, err := r.db.Batch(ctx, jar.BatchID)
	return fmt.Sprintf("jar %s of %s, %s", jar.Letter, batch.Name, jar.State.Stage), err
}

func (a *app) listCodes(codes []readCode, asJSON bool) error {
	if asJSON {
		return a.printJSON(map[string]any{"codes": codes})
	}
	w := tabwriter.NewWriter(a.out, 0, 0, 2, ' ', 0)
	moved := 0
	for _, c := range codes {
		shown := c.Tag.Spaced()
		if shown == "" {
			shown = "-"
		}
		if c.Moved {
			moved++
		}
		fmt.Fprintf(w, "%s:%d\t%s\t%s\t%s\n", c.File, c.Page, shown, c.Is, c.Text)
	}
	if err := w.Flush(); err != nil {
		return err
	}
	fmt.Fprintf(a.out, "%d codes read.\n", len(codes))
	if moved > 0 {
		fmt.Fprintf(a.err, "note: %d of them name another address than the station's; print them again, or serve at that address.\n", moved)
	}
	return nil
}
