package scan

import (
	"crypto/rand"
	"fmt"
	"io"
	"os"
	"slices"
	"sync"
	"time"

	"cruet/internal/photo"
	"cruet/internal/web"

	"github.com/gin-gonic/gin"
)

// A picture that a phone sent before it was paired waits on the station, since a
// page cannot hold it: so many at most, and for so long.
const (
	stashed    = 4
	stashedFor = 30 * time.Minute
)

// stash keeps what was sent with a picture in it until its phone is paired.
type stash struct {
	mu   sync.Mutex
	kept []stashedBody
}

type stashedBody struct {
	id, kind string // kind is its Content-Type, with the boundary
	size     int64
	file     *os.File // it has no name, and goes with the program
	until    time.Time
}

// put takes what c's request sends, and names it.
func (s *stash) put(c *gin.Context, now time.Time) (id string, size int64, err error) {
	web.AllowBody(c, photo.MaxBytes+web.MaxBodyBytes)
	f, err := os.CreateTemp("", "cruet-kept-*")
	if err != nil {
		return "", 0, err
	}
	_ = os.Remove(f.Name()) // Windows keeps open files; there it goes with its folder
	if size, err = io.Copy(f, c.Request.Body); err != nil {
		_ = f.Close()
		return "", 0, err
	}
	one := stashedBody{rand.Text(), c.GetHeader("Content-Type"), size, f, now.Add(stashedFor)}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.drop(now, stashed-1)
	s.kept = append(s.kept, one)
	return one.id, size, nil
}

// get finds what was put. It stays, so that a form sent twice does the same.
func (s *stash) get(id string, now time.Time) (body io.Reader, kind string, size int64, ok bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.drop(now, stashed)
	for _, one := range s.kept {
		if one.id == id {
			return io.NewSectionReader(one.file, 0, one.size), one.kind, one.size, true
		}
	}
	return nil, "", 0, false
}

// drop forgets what is too old, and the oldest beyond so many.
func (s *stash) drop(now time.Time, most int) {
	s.kept = slices.DeleteFunc(s.kept, func(one stashedBody) bool {
		if now.Before(one.until) {
			return false
		}
		_ = one.file.Close()
		return true
	})
	for len(s.kept) > most {
		_ = s.kept[0].file.Close()
		s.kept = s.kept[1:]
	}
}

// megabytes says how much waits.
func megabytes(size int64) string { return fmt.Sprintf("%.1f MB", float64(size)/1e6) }
