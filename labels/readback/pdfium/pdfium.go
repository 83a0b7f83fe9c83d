// Package pdfium rasterises PDF pages as a printer would, without anything but
// Go: PDFium in WebAssembly. It is for tests: its 6 MB are too much to carry in
// the program, which reads PDFs with package readback's own few lines.
package pdfium

import (
	"context"
	"errors"
	"fmt"
	"image"
	"os"
	"path/filepath"
	"time"

	"github.com/klippa-app/go-pdfium"
	"github.com/klippa-app/go-pdfium/requests"
	"github.com/klippa-app/go-pdfium/webassembly"
	"github.com/tetratelabs/wazero"
	"github.com/tetratelabs/wazero/api"
	"github.com/tetratelabs/wazero/experimental"
)

// Rasteriser turns PDF pages into pictures. Starting one costs seconds the
// first time on a machine, a tenth of one after; keep it. It is not for
// several goroutines at once.
type Rasteriser struct {
	pool   pdfium.Pool
	doc    pdfium.Pdfium
	closer func()
}

const startTimeout = 2 * time.Minute // compiling took 3.5 s where it was measured

// New starts a rasteriser. What it compiles is kept in the user's
// cache folder when there is one.
func New() (*Rasteriser, error) {
	config := wazero.NewRuntimeConfig().WithCoreFeatures(api.CoreFeaturesV2 | experimental.CoreFeaturesExceptionHandling)
	closer := func() {}
	if dir, err := os.UserCacheDir(); err == nil {
		if cache, err := wazero.NewCompilationCacheWithDir(filepath.Join(dir, "cruet", "pdf")); err == nil {
			config = config.WithCompilationCache(cache)
			closer = func() { cache.Close(context.Background()) }
		}
	}
	pool, err := webassembly.Init(webassembly.Config{MinIdle: 1, MaxIdle: 1, MaxTotal: 1, RuntimeConfig: config, FSConfig: wazero.NewFSConfig()})
	if err != nil {
		closer()
		return nil, fmt.Errorf("starting the PDF rasteriser: %w", err)
	}
	doc, err := pool.GetInstance(startTimeout)
	if err != nil {
		pool.Close()
		closer()
		return nil, fmt.Errorf("starting the PDF rasteriser: %w", err)
	}
	return &Rasteriser{pool: pool, doc: doc, closer: closer}, nil
}

// Close frees the rasteriser.
func (r *Rasteriser) Close() error {
	defer r.closer()
	return errors.Join(r.doc.Close(), r.pool.Close())
}

// Pages draws every page of a PDF at dpi dots per inch and hands it to each,
// with its number counted from 0. An error from each stops and is returned.
func (r *Rasteriser) Pages(pdf []byte, dpi int, each func(page int, picture *image.Gray) error) error {
	opened, err := r.doc.OpenDocument(&requests.OpenDocument{File: &pdf})
	if err != nil {
		return fmt.Errorf("opening the PDF: %w", err)
	}
	defer r.doc.FPDF_CloseDocument(&requests.FPDF_CloseDocument{Document: opened.Document})
	count, err := r.doc.FPDF_GetPageCount(&requests.FPDF_GetPageCount{Document: opened.Document})
	if err != nil {
		return fmt.Errorf("counting the PDF's pages: %w", err)
	}
	for i := range count.PageCount {
		picture, err := r.page(requests.Page{ByIndex: &requests.PageByIndex{Document: opened.Document, Index: i}}, dpi)
		if err != nil {
			return fmt.Errorf("drawing page %d: %w", i+1, err)
		}
		if err := each(i, picture); err != nil {
			return err
		}
	}
	return nil
}

func (r *Rasteriser) page(page requests.Page, dpi int) (*image.Gray, error) {
	drawn, err := r.doc.RenderPageInDPI(&requests.RenderPageInDPI{Page: page, DPI: dpi, ImageFormat: requests.RenderImageFormatGrayscale})
	if err != nil {
		return nil, err
	}
	defer drawn.Cleanup()
	gray, ok := drawn.Result.RenderedImage.(*image.Gray)
	if !ok {
		return nil, fmt.Errorf("a picture of type %T instead of grey", drawn.Result.RenderedImage)
	}
	// The rasteriser's memory goes with Cleanup.
	own := *gray
	own.Pix = append([]byte(nil), gray.Pix...)
	return &own, nil
}
