package scan

import (
	"errors"
	"io"
	"mime/multipart"
	"net/http"
	"net/url"
	"os"
	"strings"
	"time"

	"github.com/gin-gonic/gin"
	"github.com/google/uuid"

	"cruet/internal/larder"
	"cruet/internal/photo"
	"cruet/internal/store"
	"cruet/internal/web"
)

// shot is a small picture that leads to the page of its photo.
type shot struct {
	URL, Src, Alt     string
	WidthPX, HeightPX int
}

func (w writer) shot(e larder.Entry, b larder.Photo) *shot {
	width, height := b.WidthPX, b.HeightPX
	if long := max(width, height); long > photo.ThumbPX {
		width, height = max(1, width*photo.ThumbPX/long), max(1, height*photo.ThumbPX/long)
	}
	return &shot{URL: photoURL(e.Jar, e.ID), Src: photoSrc(b.ThumbSHA256), Alt: w.photoWords(e), WidthPX: width, HeightPX: height}
}

// photoWords says what a picture shows, for who cannot see it.
func (w writer) photoWords(e larder.Entry) string {
	text := "Photo of jar " + string(e.Jar) + ", " + dayOf(e.When, w.now)
	if e.Note != "" {
		text += ": " + e.Note
	}
	return text
}

func photoURL(jar larder.Tag, entry uuid.UUID) string {
	return jarURL(jar) + "/photo/" + entry.String()
}

func photoSrc(hash string) string { return "/photos/" + hash + ".jpg" }

// photoFile sends a picture. What a name holds never changes, so that a phone may
// keep it; it is the kitchen's, so that nobody between may.
func (p *Pages) photoFile(c *gin.Context) error {
	hash, ok := strings.CutSuffix(c.Param("name"), ".jpg")
	if !ok {
		return &larder.NotFoundError{What: "photo", ID: c.Param("name")}
	}
	f, err := p.DB.OpenPhoto(c.Request.Context(), hash)
	if err != nil {
		return err
	}
	defer f.Close()
	c.Header("Cache-Control", "private, max-age=31536000, immutable")
	c.Header("Content-Type", "image/jpeg")
	c.Header("ETag", `"`+hash+`"`)
	http.ServeContent(c.Writer, c.Request, "", time.Time{}, f)
	return nil
}

// photosShown is how many of a jar's photos stand below the form.
const photosShown = 12

// photoFormView is the page that takes a picture.
type photoFormView struct {
	Tag, URL string
	Looks    string
	Key      string
	Problem  string // with the form as a whole
	Picture  field  // its error alone counts: a browser fills no file in again
	Again    bool   // the form came back, so the picture must be chosen once more
	Accept   string
	Fields   []field
	Shots    []*shot
}

func (p *Pages) photoForm(c *gin.Context) error {
	tag, _, err := tagOf(c)
	if err != nil {
		return err
	}
	return p.showPhotoForm(c, http.StatusOK, tag, nil)
}

func (p *Pages) showPhotoForm(c *gin.Context, status int, tag larder.Tag, back *sent) error {
	ctx := c.Request.Context()
	k, err := p.DB.Kitchen(ctx)
	if err != nil {
		return err
	}
	if _, err := p.DB.Jar(ctx, tag); err != nil {
		return err
	}
	photos, err := p.DB.Photos(ctx, tag, photosShown)
	if err != nil {
		return err
	}
	b, key := newBuilder("photo", nil, nil, k.Units()), newKey()
	if back != nil {
		b, key = newBuilder("photo", back.typed, back.problems, k.Units()), back.key
	}
	v := photoFormView{Tag: string(tag), URL: jarURL(tag), Looks: looksURL(tag), Key: key, Accept: photo.MediaTypes, Again: back != nil}
	v.Picture = b.field("file", "photo", "", "")
	v.Fields = append([]field{b.area("note", "What is to be seen?", "")}, b.whenAndBy(remembered(c, byCookie))...)
	v.Problem = b.rest()
	w := writer{k: k, now: p.now(k), jar: tag}
	for _, e := range photos {
		if body, ok := e.Body.(larder.Photo); ok {
			v.Shots = append(v.Shots, w.shot(e, body))
		}
	}
	return render(c, status, "photoform", p.frame(k, "Photo of "+string(tag)), v)
}

// drainBytes is how much of a body is read to its end, so that the answer to a
// file that is too large reaches the phone: a browser that is cut off in the
// middle of sending shows an error of its own, and the note is lost.
const drainBytes = 96 << 20

func (p *Pages) addPhoto(c *gin.Context) error {
	ctx := c.Request.Context()
	tag, _, err := tagOf(c)
	if err != nil {
		return err
	}
	k, err := p.DB.Kitchen(ctx)
	if err != nil {
		return err
	}
	web.AllowBody(c, drainBytes)
	typed, picture, err := readUpload(c.Request)
	if picture != nil {
		defer picture.remove()
	}
	var station *larder.StationError
	if err != nil && !errors.As(err, &station) {
		return err
	}
	r := &reader{typed: typed, now: p.now(k)}
	n := larder.NewEntry{When: r.when(), Note: r.text("note")}
	act := r.act()
	if err == nil {
		err = r.problems.Err()
	}
	if err == nil {
		var sent io.ReadSeeker
		if picture != nil {
			sent = picture
		}
		var s, e = p.DB.AddPhoto(ctx, act, tag, n, sent)
		if err = e; err == nil {
			remember(c, byCookie, act.By)
			to := jarURL(tag) + query("saved", s.Entry.ID.String())
			if s.Replayed {
				to += "&again=1"
			}
			c.Redirect(http.StatusSeeOther, to)
			return nil
		}
	}
	problems, status, key, mine := refused(err, r.typed)
	if !mine {
		return err
	}
	return p.showPhotoForm(c, status, tag, &sent{typed: r.typed, problems: problems, key: key})
}

// upload is a picture that was sent, in a file that goes with the request.
type upload struct{ *os.File }

func (u upload) remove() {
	// Removed when it was made, where the system allows that.
	_ = errors.Join(u.Close(), os.Remove(u.Name()))
}

// readUpload takes a form with one picture apart while it arrives, so that it
// never stands in memory. Of two file boxes the one that was filled counts. A
// picture that is too large is kept up to where that shows. When the picture cannot
// be kept, the rest of the form is read all the same, and the error is a
// larder.StationError.
func readUpload(r *http.Request) (url.Values, *upload, error) {
	broken := larder.Refuse("", "The form arrived broken. Send it again; it will be saved once.")
	parts, err := r.MultipartReader()
	if err != nil {
		return nil, nil, broken
	}
	typed := url.Values{}
	var picture *upload
	var failed error
	for left := int64(web.MaxBodyBytes); ; {
		part, err := parts.NextPart()
		if errors.Is(err, io.EOF) {
			return typed, picture, failed
		}
		if err != nil {
			return typed, picture, uploadError(err, broken)
		}
		if part.FormName() == "photo" {
			if part.FileName() != "" && picture == nil {
				picture, failed = storeUpload(part)
			}
			continue
		}
		text, err := io.ReadAll(io.LimitReader(part, left+1))
		if err != nil {
			return typed, picture, uploadError(err, broken)
		}
		if left -= int64(len(text)); left < 0 {
			return typed, picture, &http.MaxBytesError{Limit: web.MaxBodyBytes}
		}
		typed.Add(part.FormName(), string(text))
	}
}

// uploadError keeps what web.AnswerTo knows better.
func uploadError(err, broken error) error {
	var tooLarge *http.MaxBytesError
	if errors.As(err, &tooLarge) {
		return err
	}
	return broken
}

// storeUpload keeps a picture in a file; an error is the disk's. What is wrong
// with the sender shows at the next part.
func storeUpload(part *multipart.Part) (*upload, error) {
	f, err := os.CreateTemp("", "cruet-photo-*")
	if err != nil {
		return nil, noRoom(err)
	}
	u := &upload{f}
	// Without a name it goes with the program, even when that is killed. Windows
	// keeps open files; there remove does it.
	_ = os.Remove(f.Name())
	_, err = io.Copy(f, io.LimitReader(part, photo.MaxBytes+1))
	var path *os.PathError
	if errors.As(err, &path) {
		return u, noRoom(err)
	}
	return u, nil
}

// noRoom is the error of a picture that could not be put aside.
func noRoom(err error) error {
	var station *larder.StationError
	if err = store.StationFault(err); errors.As(err, &station) {
		return err
	}
	return &larder.StationError{Fault: larder.DiskFails, Err: err}
}

// photoView is the page of one photo.
type photoView struct {
	Tag, URL     string
	Looks        string
	Entry        line
	Src, Alt     string
	Body         larder.Photo
	Older, Newer string
}

func (p *Pages) photo(c *gin.Context) error {
	ctx := c.Request.Context()
	tag, _, err := tagOf(c)
	if err != nil {
		return err
	}
	k, err := p.DB.Kitchen(ctx)
	if err != nil {
		return err
	}
	id, err := uuid.Parse(c.Param("entry"))
	if err != nil {
		return &larder.NotFoundError{What: "photo", ID: c.Param("entry")}
	}
	page, err := p.DB.Photo(ctx, tag, id)
	if err != nil {
		return err
	}
	w := writer{k: k, now: p.now(k), jar: tag}
	rows, err := p.rows(ctx, w, []larder.Entry{page.Entry})
	if err != nil {
		return err
	}
	v := photoView{Tag: string(tag), URL: jarURL(tag), Looks: looksURL(tag), Entry: rows[0], Alt: w.photoWords(page.Entry)}
	if b, ok := page.Entry.Body.(larder.Photo); ok {
		v.Src, v.Body = photoSrc(b.SHA256), b
	}
	if page.Older != uuid.Nil {
		v.Older = photoURL(tag, page.Older)
	}
	if page.Newer != uuid.Nil {
		v.Newer = photoURL(tag, page.Newer)
	}
	return render(c, http.StatusOK, "photo", p.frame(k, "Photo of "+string(tag)+", "+rows[0].When), v)
}
