package readback

import (
	"bytes"
	"strconv"
)

// parser reads PDF objects and operators from text (ISO 32000-1, 7.2 and 7.3).
type parser struct {
	data []byte
	at   int
}

// operator is a word that is no object.
type operator string

func isSpace(c byte) bool {
	return c == ' ' || c == '\n' || c == '\r' || c == '\t' || c == '\f' || c == 0
}

func isDelimiter(c byte) bool { return bytes.IndexByte([]byte("()<>[]{}/%"), c) >= 0 }

func (p *parser) space() {
	for p.at < len(p.data) {
		switch c := p.data[p.at]; {
		case isSpace(c):
			p.at++
		case c == '%':
			for p.at < len(p.data) && p.data[p.at] != '\n' && p.data[p.at] != '\r' {
				p.at++
			}
		default:
			return
		}
	}
}

func (p *parser) has(prefix string) bool { return bytes.HasPrefix(p.data[p.at:], []byte(prefix)) }

// object reads one object; a word that is none comes as operator, the end as
// operator(""). Nothing is read twice, so broken input ends, too.
func (p *parser) object(depth int) any {
	p.space()
	if p.at >= len(p.data) || depth > maxDepth {
		p.at = len(p.data)
		return operator("")
	}
	switch {
	case p.has("<<"):
		return p.dictionary(depth)
	case p.has("["):
		p.at++
		var list []any
		for {
			p.space()
			if p.at >= len(p.data) || p.has("]") {
				p.at = min(p.at+1, len(p.data))
				return list
			}
			list = append(list, p.object(depth+1))
		}
	case p.has("/"):
		p.at++
		return name(p.word())
	case p.has("("):
		return p.literal()
	case p.has("<"):
		end := bytes.IndexByte(p.data[p.at:], '>')
		if end < 0 {
			end = len(p.data) - p.at - 1
		}
		p.at += end + 1
		return ""
	}
	return p.plain()
}

// plain reads a number, a reference or a word.
func (p *parser) plain() any {
	word := p.word()
	if word == "" {
		p.at++ // a stray delimiter
		return nil
	}
	if v, err := strconv.ParseFloat(word, 64); err == nil {
		if id, ok := p.reference(word); ok {
			return id
		}
		return v
	}
	switch word {
	case "true":
		return true
	case "false":
		return false
	case "null":
		return nil
	}
	return operator(word)
}

// reference reads the rest of "12 0 R" when word is its first number.
func (p *parser) reference(word string) (reference, bool) {
	id, err := strconv.Atoi(word)
	if err != nil || id < 0 {
		return 0, false
	}
	back := p.at
	p.space()
	generation := p.word()
	if _, err := strconv.Atoi(generation); err == nil {
		p.space()
		if p.word() == "R" {
			return reference(id), true
		}
	}
	p.at = back
	return 0, false
}

func (p *parser) word() string {
	start := p.at
	for p.at < len(p.data) && !isSpace(p.data[p.at]) && !isDelimiter(p.data[p.at]) {
		p.at++
	}
	return string(p.data[start:p.at])
}

func (p *parser) dictionary(depth int) any {
	p.at += 2
	d := dict{}
	for {
		p.space()
		if p.at >= len(p.data) || p.has(">>") {
			p.at = min(p.at+2, len(p.data))
			return d
		}
		key, ok := p.object(depth + 1).(name)
		if !ok {
			continue
		}
		p.space()
		if p.has(">>") {
			continue
		}
		d[string(key)] = p.object(depth + 1)
	}
}

// literal skips a string in brackets; no string matters here.
func (p *parser) literal() any {
	open := 0
	for ; p.at < len(p.data); p.at++ {
		switch p.data[p.at] {
		case '\\':
			p.at++
		case '(':
			open++
		case ')':
			if open--; open == 0 {
				p.at++
				return ""
			}
		}
	}
	p.at = len(p.data)
	return ""
}

// stream reads what stands between the words stream and endstream.
func (p *parser) stream(head dict) any {
	p.at += len("stream")
	if p.has("\r\n") {
		p.at += 2
	} else if p.has("\n") || p.has("\r") {
		p.at++
	}
	start := p.at
	if n, ok := head["Length"].(float64); ok && n >= 0 && n <= float64(len(p.data)-start) {
		after := &parser{data: p.data, at: start + int(n)}
		after.space()
		if after.has("endstream") {
			p.at = after.at
			return stream{head, p.data[start : start+int(n)]}
		}
	}
	end := bytes.Index(p.data[start:], []byte("endstream"))
	if end < 0 {
		end = len(p.data) - start
	}
	p.at = start + end
	return stream{head, p.data[start : start+end]}
}

// operators hands a content stream's operators to do, after each of their
// operands was handed to operand.
func operators(content []byte, do func(op string) error, operand func(any)) error {
	p := &parser{data: content}
	for {
		v := p.object(0)
		op, ok := v.(operator)
		switch {
		case !ok:
			operand(v)
		case op == "":
			return nil
		case op == "ID": // a picture among the operators ends at EI
			if end := bytes.Index(p.data[p.at:], []byte("\nEI")); end >= 0 {
				p.at += end + 3
			}
		default:
			if err := do(string(op)); err != nil {
				return err
			}
		}
	}
}
