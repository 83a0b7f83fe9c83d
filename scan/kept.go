package scan

import (
	"bytes"
	"compress/flate"
	"encoding/binary"
	"hash/crc32"
	"net/http"
	"strconv"
	"sync"
	"time"

	"github.com/gin-gonic/gin"

	"cruet/internal/lazy"
	"cruet/internal/store"
)

// A page follows from the records, the minute and the phone alone, but for the keys
// of its forms and the station's clock, which are new each time. So a page that was
// made is kept, compressed, with gaps for those, until anything is committed or the
// minute is over: opening a jar again costs no query, no template and no
// compressing.

// keptPage is a page in pieces, with a gap between each two.
type keptPage struct {
	plain  [][]byte
	packed [][]byte // deflated, each ending at a whole byte
	gaps   []int    // how long each gap is: what a key or the clock has
	size   int      // of the whole page, uncompressed
}

// of is all that a page depends on.
type of struct {
	path, cookies, language string
	labels                  string // the address that they name
	phone                   int64  // which one it is, 0 for none
	looks                   bool   // and may not write
	records                 store.Version
	minute                  int64
}

// keptPages are the newest pages. The zero value keeps none yet.
type keptPages struct {
	sync.Mutex
	pages map[of]*keptPage
}

// mostPages bounds them: some twenty kilobytes each.
const mostPages = 64

// keepWith is where a request carries what keeps its page and sends it.
const keepWith = "cruet.keep"

// keeping serves a page as it was kept, or makes and keeps it. A page with a query
// is about what was just done, and one for a phone in the middle of an act is about
// its draft, which is no record: those are made afresh.
func (p *Pages) keeping(do func(*gin.Context) error) func(*gin.Context) error {
	return func(c *gin.Context) error {
		if c.Request.Method != http.MethodGet || c.Request.URL.RawQuery != "" || len(c.Request.CookiesNamed(draftCookie)) > 0 {
			return do(c)
		}
		version, err := p.DB.Version(c.Request.Context())
		if err != nil {
			return err
		}
		one := of{path: c.Request.URL.RequestURI(), labels: p.Address, cookies: c.GetHeader("Cookie"), language: languageOf(c.Request).tag.String(), looks: onlyLooks(c), records: version, minute: p.clock().Unix() / 60}
		if phone := visitorOf(c).Phone; phone != nil {
			one.phone = phone.ID
		}
		if page := p.kept.find(one); page != nil {
			page.send(c, p.clock())
			return nil
		}
		c.Set(keepWith, func(page []byte) { p.kept.keep(one, page).send(c, p.clock()) })
		return do(c)
	}
}

func (k *keptPages) find(one of) *keptPage {
	k.Lock()
	defer k.Unlock()
	return k.pages[one]
}

// keep keeps a page and gives it as it is kept.
func (k *keptPages) keep(one of, page []byte) *keptPage {
	made := withGaps(page)
	k.Lock()
	defer k.Unlock()
	for old := range k.pages {
		if old.records != one.records || old.minute != one.minute || len(k.pages) >= mostPages {
			delete(k.pages, old)
		}
	}
	if k.pages == nil {
		k.pages = map[of]*keptPage{}
	}
	k.pages[one] = made
	return made
}

// fresh finds a form's key, and the station's clock, as the templates write them.
var fresh = lazy.RE(`name="key" value="([0-9a-f]{8}-[0-9a-f]{4}-7[0-9a-f]{3}-[0-9a-f]{4}-[0-9a-f]{12})"|data-now="([0-9]{13})"`)

const keyLength, clockLength = 36, 13

// filled is what stands in a gap of that length.
func filled(length int, now time.Time) string {
	if length == clockLength {
		return strconv.FormatInt(now.UnixMilli(), 10)
	}
	return newKey()
}

// deflaters are kept, since to make one costs more than to compress a page.
var deflaters = sync.Pool{New: func() any {
	w, err := flate.NewWriter(nil, flate.DefaultCompression)
	if err != nil {
		panic("scan: " + err.Error()) // the level is one that there is
	}
	return w
}}

// withGaps cuts a page at its gaps and compresses the pieces as one stream, in which
// each gap is a block of its own (RFC 1951, 3.2.4) that any text of its length can
// fill: in its place the compressor saw bytes that are in no UTF-8, so that nothing
// after it refers to it.
func withGaps(page []byte) *keptPage {
	k := &keptPage{size: len(page)}
	var b bytes.Buffer
	w := deflaters.Get().(*flate.Writer)
	defer deflaters.Put(w)
	w.Reset(&b)
	from := 0
	piece := func(to int) {
		k.plain = append(k.plain, bytes.Clone(page[from:to]))
		_, _ = w.Write(page[from:to]) // a buffer takes all
		_ = w.Flush()
		k.packed = append(k.packed, bytes.Clone(b.Bytes()))
		b.Reset()
	}
	for _, at := range fresh().FindAllSubmatchIndex(page, -1) {
		begin, end := max(at[2], at[4]), max(at[3], at[5]) // of which one is -1
		piece(begin)
		k.gaps = append(k.gaps, end-begin)
		_, _ = w.Write(bytes.Repeat([]byte{0xff}, end-begin))
		_ = w.Flush()
		b.Reset()
		from = end
	}
	piece(len(page))
	return k
}

// gzipHead begins a gzip member: deflate, no name, no time (RFC 1952, 2.3).
const gzipHead = "\x1f\x8b\x08\x00\x00\x00\x00\x00\x00\xff"

// lastBlock ends a deflated stream: a stored block of nothing.
const lastBlock = "\x01\x00\x00\xff\xff"

func (k *keptPage) send(c *gin.Context, now time.Time) {
	c.Writer.Header().Add("Vary", "Accept-Language")
	var plain, packed []byte
	if takesGzip(c.Request) {
		packed = k.zipped(now)
	} else {
		for i, piece := range k.plain {
			if i > 0 {
				plain = append(plain, filled(k.gaps[i-1], now)...)
			}
			plain = append(plain, piece...)
		}
	}
	send(c, http.StatusOK, htmlKind, plain, packed)
}

// zipped is the page as a gzip file with its gaps filled.
func (k *keptPage) zipped(now time.Time) []byte {
	out := make([]byte, 0, k.size/2+1000)
	out = append(out, gzipHead...)
	sum := uint32(0)
	for i, piece := range k.packed {
		if i > 0 {
			text := filled(k.gaps[i-1], now)
			length := byte(len(text))
			out = append(out, 0x00, length, 0x00, ^length, 0xff) // stored, its length, and that inverted
			out = append(out, text...)
			sum = crc32.Update(sum, crc32.IEEETable, []byte(text))
		}
		out = append(out, piece...)
		sum = crc32.Update(sum, crc32.IEEETable, k.plain[i])
	}
	out = append(out, lastBlock...)
	out = binary.LittleEndian.AppendUint32(out, sum)
	return binary.LittleEndian.AppendUint32(out, uint32(k.size))
}
