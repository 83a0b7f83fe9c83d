package scan

// Whoever uses the keys, or has a page read out, is led to what is wrong: the first
// field, as a form is laid out, that has an error gets the focus.

// focusFirst gives the focus to the first wrong field, and tells whether there is one.
func focusFirst(fields []field) bool {
	for i := range fields {
		f := &fields[i]
		if f.Error != "" && f.Kind != "hidden" {
			if f.Kind == "joined" && len(f.Parts) > 0 { // is a frame round fields
				f = &f.Parts[0]
			}
			f.Focus = true
			return true
		}
		if focusFirst(f.Parts) {
			return true
		}
	}
	return false
}

// unfocus takes it away, where something above those fields is wrong.
func unfocus(fields []field) {
	for i := range fields {
		fields[i].Focus = false
		unfocus(fields[i].Parts)
	}
}
