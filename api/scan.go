package api

import (
	"context"
	"image"
	"net/http"
	"strings"

	"github.com/danielgtaylor/huma/v2"

	"cruet/internal/larder"
	"cruet/internal/photo"
	"cruet/labels/readback"
)

// ScanPhoto is a photo of labels as sent.
type ScanPhoto struct {
	Photo huma.FormFile `form:"photo" contentType:"application/octet-stream" required:"false" doc:"The picture: JPEG, PNG, WebP or GIF, up to 20 MB and 64 megapixels. Nothing of it is kept."`
}

// ScannedCodes are the codes that a picture shows, from the top down.
type ScannedCodes struct {
	Codes []ScannedCode `json:"codes" doc:"From the top down; none when no code could be read."`
}

// ScannedCode is one code and what it names here.
type ScannedCode struct {
	Text    string     `json:"text" doc:"What the code says."`
	Kind    string     `json:"kind" enum:"jar,spare,bottle,lot,unknown" doc:"What it names in this kitchen's records. A lot: the code holds a bottle's facts, and the lot has no such bottle."`
	Tag     larder.Tag `json:"tag,omitempty" doc:"The tag that it names, also one of another kitchen."`
	Address string     `json:"address,omitempty" doc:"HOST:PORT of the station that its link names."`
	Moved   bool       `json:"moved" doc:"That address is not this station's."`
	LotID   string     `json:"lot_id,omitempty" doc:"Of a bottle."`
	Bottle  int        `json:"number,omitempty" doc:"Of a bottle: its number in the lot."`
}

func (a *API) registerScan(h huma.API) {
	op := route(http.MethodPost, "/scan", "scan", "labels", "Read the labels in a photo",
		"The codes that a picture shows, as multipart/form-data, and what they name here. Nothing is recorded, and no key is needed.", http.StatusOK,
		http.StatusBadRequest, http.StatusRequestEntityTooLarge, http.StatusUnsupportedMediaType)
	op.Middlewares = huma.Middlewares{allowPhoto}
	huma.Register(h, op, a.scan)
	h.OpenAPI().Paths[op.Path].Post.RequestBody.Content["multipart/form-data"].Schema.Required = []string{"photo"}
	delete(h.OpenAPI().Components.Schemas.Map(), "FormFile")
}

func (a *API) scan(ctx context.Context, in *struct {
	RawBody huma.MultipartFormFiles[ScanPhoto]
}) (*answer[ScannedCodes], error) {
	sent := in.RawBody.Data()
	if !sent.Photo.IsSet {
		return nil, larder.Refuse("photo", "Send a picture of the label in the field photo.")
	}
	defer sent.Photo.Close()
	out := &answer[ScannedCodes]{}
	out.Body.Codes = []ScannedCode{}
	return out, photo.Read(ctx, sent.Photo, func(m image.Image) error {
		for _, f := range readback.Photo(m) {
			code, err := a.scanned(ctx, f.Text)
			if err != nil {
				return err
			}
			out.Body.Codes = append(out.Body.Codes, code)
		}
		return nil
	})
}

func (a *API) scanned(ctx context.Context, text string) (ScannedCode, error) {
	s, err := a.DB.Scanned(ctx, larder.ReadCode(text))
	if err != nil {
		return ScannedCode{}, err
	}
	c := ScannedCode{Text: text, Kind: s.Kind, Tag: s.Tag, Address: s.Address, LotID: s.LotID, Bottle: s.CodeText.Bottle}
	c.Moved = c.Address != "" && !strings.EqualFold(c.Address, a.Address)
	if c.Kind == "" {
		c.Kind = "unknown"
	}
	if s.Lot != nil {
		c.LotID = s.Lot.ID
	}
	if s.Bottle != nil {
		c.Tag, c.Bottle = s.Bottle.Tag, s.Bottle.Number
	}
	return c, nil
}
