package api

import (
	"context"
	"errors"
	"io"
	"mime"
	"net/http"
	"strings"

	"github.com/danielgtaylor/huma/v2"
	"github.com/danielgtaylor/huma/v2/adapters/humagin"

	"cruet/internal/larder"
	"cruet/internal/photo"
	"cruet/internal/web"
)

// maxPhotoBody is a picture with the form round it.
const maxPhotoBody = photo.MaxBytes + 1<<20

// NewPhoto is a photo as sent.
type NewPhoto struct {
	Photo huma.FormFile `form:"photo" contentType:"application/octet-stream" required:"false" doc:"The picture: JPEG, PNG, WebP or GIF, up to 20 MB. What is kept of it is upright, 1600 pixels long at most, a JPEG, and without metadata."`
	When  string        `form:"when" required:"false" example:"yesterday" doc:"When it was taken; as for every act. Empty: now. The date in the file does not count."`
	Note  string        `form:"note" required:"false" example:"a thin skin, smooth" doc:"What is to be seen."`
	By    string        `form:"by" required:"false" example:"MO" doc:"Who took it: initials or a short name."`
}

func (a *API) registerPhotos(h huma.API) {
	op := act("/jars/{tag}/photos", "log-photo", "log", "Log a photo",
		"One picture as multipart/form-data, with a note. Photos may be added to a retired jar too. The entry's body names the files; get them from /photos.", http.StatusNotFound)
	op.Middlewares = huma.Middlewares{allowPhoto}
	huma.Register(h, op, a.addPhoto)
	// That there is a picture is the store's to ask for, in words; the document says
	// so too. huma writes down its own type beside the schema that it uses for it.
	h.OpenAPI().Paths[op.Path].Post.RequestBody.Content["multipart/form-data"].Schema.Required = []string{"photo"}
	delete(h.OpenAPI().Components.Schemas.Map(), "FormFile")
	file := get("/photos/{sha256}", "get-photo", "log", "A picture", "The picture with that hash, of either size, as a JPEG. That of a struck photo is not given out.", http.StatusNotFound)
	file.Responses = map[string]*huma.Response{"200": {
		Description: "The picture.",
		Content:     map[string]*huma.MediaType{"image/jpeg": {Schema: &huma.Schema{Type: huma.TypeString, Format: "binary"}}},
	}}
	huma.Register(h, file, a.photoFile)
}

// allowPhoto lets a picture through that is larger than other requests may be.
func allowPhoto(ctx huma.Context, next func(huma.Context)) {
	c := humagin.Unwrap(ctx)
	if kind, _, err := mime.ParseMediaType(c.ContentType()); err != nil || kind != "multipart/form-data" {
		writeProblem(c, problemOf(notJSON, "Send a photo as multipart/form-data, with the picture in the field photo.", nil))
		return
	}
	if c.Request.ContentLength > maxPhotoBody {
		writeProblem(c, problemFor(&http.MaxBytesError{Limit: maxPhotoBody}))
		return
	}
	web.AllowBody(c, maxPhotoBody)
	next(ctx)
}

// bodyTooLarge is how net/http says so when huma has made text of the error.
func bodyTooLarge(errs []error) bool {
	for _, err := range errs {
		if strings.Contains(err.Error(), "http: request body too large") {
			return true
		}
	}
	return false
}

func (a *API) addPhoto(ctx context.Context, in *struct {
	Keyed
	JarPath
	RawBody huma.MultipartFormFiles[NewPhoto]
}) (*created[Saved], error) {
	sent := in.RawBody.Data()
	var picture io.ReadSeeker
	if sent.Photo.IsSet {
		defer sent.Photo.Close()
		picture = sent.Photo
	}
	act, err := in.act(sent.By)
	if err != nil {
		return nil, err
	}
	tag, _, err := larder.ParseTag(in.Tag)
	if err != nil {
		return nil, err
	}
	n := larder.NewEntry{Note: sent.Note}
	if n.When, err = a.when(ctx, sent.When); err != nil {
		var p larder.Problems
		p.AddError("when", err)
		return nil, p
	}
	saved, err := a.DB.AddPhoto(ctx, act, tag, n, picture)
	if err != nil {
		return nil, err
	}
	return &created[Saved]{at("/entries/%s", saved.Entry.ID), Saved{shown(saved.Entry), stateOf(saved.After), saved.Replayed}}, nil
}

type jpegFile struct {
	ContentType  string `header:"Content-Type" hidden:"true"`
	CacheControl string `header:"Cache-Control" doc:"What a hash names never changes."`
	Body         []byte
}

func (a *API) photoFile(ctx context.Context, in *struct {
	SHA256 string `path:"sha256" example:"e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855" doc:"sha256 or thumb_sha256 of a photo's body."`
}) (*jpegFile, error) {
	f, err := a.DB.OpenPhoto(ctx, in.SHA256)
	if err != nil {
		return nil, err
	}
	data, err := io.ReadAll(f)
	return &jpegFile{"image/jpeg", "private, max-age=31536000, immutable", data}, errors.Join(err, f.Close())
}
