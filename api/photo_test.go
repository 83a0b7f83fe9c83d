package api_test

import (
	"bytes"
	"image"
	"image/jpeg"
	"mime/multipart"
	"net/http/httptest"
	"strings"
	"testing"
)

// send posts a form with a picture; nil: without one.
func (s *station) send(path, key string, picture []byte, pairs ...string) *httptest.ResponseRecorder {
	s.t.Helper()
	var b bytes.Buffer
	m := multipart.NewWriter(&b)
	for i := 0; i+1 < len(pairs); i += 2 {
		if err := m.WriteField(pairs[i], pairs[i+1]); err != nil {
			s.t.Fatal(err)
		}
	}
	if picture != nil {
		w, err := m.CreateFormFile("photo", "x.jpg")
		if err != nil {
			s.t.Fatal(err)
		}
		if _, err := w.Write(picture); err != nil {
			s.t.Fatal(err)
		}
	}
	if err := m.Close(); err != nil {
		s.t.Fatal(err)
	}
	r := httptest.NewRequest("POST", path, &b)
	r.Header.Set("Authorization", "Bearer "+s.token)
	r.Header.Set("Content-Type", m.FormDataContentType())
	if key != "" {
		r.Header.Set("Idempotency-Key", key)
	}
	w := httptest.NewRecorder()
	s.engine.ServeHTTP(w, r)
	return w
}

func TestPhoto(t *testing.T) {
	s := newStation(t)
	tag, _ := s.started()
	path := "/api/v1/jars/" + tag + "/photos"
	var b bytes.Buffer
	if err := jpeg.Encode(&b, image.NewGray(image.Rect(0, 0, 2400, 1200)), nil); err != nil {
		t.Fatal(err)
	}
	picture, k := b.Bytes(), key()
	w := s.send(path, k, picture, "note", "dark", "by", "MO", "when", "yesterday")
	if w.Code != 201 {
		t.Fatalf("%d: %s", w.Code, w.Body)
	}
	v := s.decode("POST", "/api/v1/jars/{tag}/photos", w)
	v.at("entry", "kind").want("photo")
	v.at("entry", "note").want("dark")
	v.at("entry", "when", "precision").want("day")
	v.at("entry", "body", "width_px").want(1600.0)
	v.at("entry", "body", "height_px").want(800.0)
	again := s.decode("POST", "/api/v1/jars/{tag}/photos", s.send(path, k, picture, "note", "dark", "by", "MO", "when", "yesterday"))
	again.at("replayed").want(true)
	again.at("entry", "id").want(v.at("entry", "id").v)

	for name, width := range map[string]int{"sha256": 1600, "thumb_sha256": 320} {
		file := s.raw("GET", "/api/v1/photos/"+v.at("entry", "body", name).text(), "", "")
		m, err := jpeg.DecodeConfig(file.Body)
		if file.Code != 200 || err != nil || m.Width != width || file.Header().Get("Content-Type") != "image/jpeg" || file.Header().Get("X-Content-Type-Options") != "nosniff" {
			t.Errorf("%s: %d, %v, %+v, %v", name, file.Code, err, m, file.Header())
		}
	}
	s.refused("GET", "/api/v1/photos/"+strings.Repeat("0", 64), "", "", 404)

	for name, row := range map[string]struct {
		w      *httptest.ResponseRecorder
		status int
		says   string
	}{
		"no picture":  {s.send(path, key(), nil, "note", "x"), 422, "photo"},
		"a letter":    {s.send(path, key(), []byte("Dear kitchen, here is a letter.")), 422, "not a picture"},
		"a bad date":  {s.send(path, key(), picture, "when", "the day after never"), 422, "when"},
		"no key":      {s.send(path, "", picture), 400, "Idempotency-Key"},
		"a wrong tag": {s.send("/api/v1/jars/3CFX73/photos", key(), picture), 404, "mistyped"},
		"too large":   {s.send(path, key(), append(picture, make([]byte, 22<<20)...)), 413, "20 MB"},
		"JSON":        {s.raw("POST", path, key(), `{"note":"x"}`), 415, "multipart/form-data"},
		"key reused":  {s.send(path, k, picture, "note", "light"), 422, "already used"},
	} {
		if row.w.Code != row.status || !strings.Contains(row.w.Body.String(), row.says) || row.w.Header().Get("Content-Type") != "application/problem+json" {
			t.Errorf("%s: %d %s", name, row.w.Code, row.w.Body)
		}
	}
	if n := len(s.get("/api/v1/jars/" + tag + "/entries").at("entries").list()); n != 2 {
		t.Errorf("%d entries, want the start and one photo", n)
	}
	s.get("/api/v1/entries/"+v.at("entry", "id").text()).at("body", "sha256").want(v.at("entry", "body", "sha256").v)
}
