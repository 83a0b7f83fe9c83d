package store

// cells are the values of a row as the driver hands them out. To convert each into its
// place costs more than to find it, so rows that come in hundreds are read by these; the
// tables are strict, so that a value has its column's type or is none.
type cells struct {
	values []any
	into   []any // points at them
}

func newCells(n int) *cells {
	c := &cells{values: make([]any, n), into: make([]any, n)}
	for i := range c.values {
		c.into[i] = &c.values[i]
	}
	return c
}

func (c *cells) read(row scanner) error { return row.Scan(c.into...) }

func (c *cells) text(i int) string {
	s, _ := c.values[i].(string)
	return s
}

func (c *cells) integer(i int) int64 {
	n, _ := c.values[i].(int64)
	return n
}

// real is a number that may be missing.
func (c *cells) real(i int) (v float64, ok bool) {
	v, ok = c.values[i].(float64)
	return v, ok
}
