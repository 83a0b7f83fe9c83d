package larder

// Bounds of a lineage that is drawn: more is read one jar further on.
const (
	TreeDepth    = 4   // steps each way when nobody says
	MaxTreeDepth = 12  //
	maxBranches  = 250 // each way: a page of both stays within 150 kB
)

// Branch is one step of a lineage drawn as a tree, with the steps beyond it: what
// that came from, or what it went into.
type Branch struct {
	Step
	Beyond []*Branch `json:"beyond"`
	// Hidden is how many steps directly beyond are left out, since the tree is
	// deep or wide enough.
	Hidden int `json:"hidden_count,omitempty"`
	// Again tells that what lies beyond stands at another place of the tree.
	Again bool `json:"again,omitempty"`
}

// Tree is a jar's lineage as it is drawn: each step stands once, at its shortest
// distance from the jar, so that the cycles of a perpetual crock end.
type Tree struct {
	CameFrom []*Branch `json:"came_from"` // the newest first
	WentInto []*Branch `json:"went_into"` // the oldest first
	// HiddenBack and HiddenForward are how many steps directly at the jar are
	// left out, since there are too many to draw.
	HiddenBack    int `json:"hidden_back_count,omitempty"`
	HiddenForward int `json:"hidden_forward_count,omitempty"`
}

// Tree draws a trace to that many steps each way.
func (t Trace) Tree(depth int) Tree {
	var out Tree
	out.CameFrom, out.HiddenBack = branches(t.Back, depth, true)
	out.WentInto, out.HiddenForward = branches(t.Forward, depth, false)
	return out
}

// branches hangs each step, in the order of depth, on the first one a step
// nearer that it goes on from.
func branches(steps []Step, depth int, back bool) (first []*Branch, hidden int) {
	first = []*Branch{}
	shown := map[string][]*Branch{} // by the jar at the far end
	count := 0
	for _, s := range steps {
		near, far := ends(s, back)
		into, left := &first, &hidden
		if s.Depth > 1 {
			on := nearer(shown[near], s, back)
			if on == nil {
				continue // hangs on one that is left out
			}
			into, left = &on.Beyond, &on.Hidden
		}
		if s.Depth > depth || count >= maxBranches {
			*left++
			continue
		}
		b := &Branch{Step: s, Beyond: []*Branch{}}
		*into = append(*into, b)
		count++
		if far != "" {
			shown[far] = append(shown[far], b)
		}
	}
	for _, s := range steps {
		near, _ := ends(s, back)
		for _, b := range shown[near] {
			b.Again = b.Again || (len(b.Beyond) == 0 && b.Hidden == 0 && meet(b, s, back))
		}
	}
	return first, hidden
}

// ends are the names at the near and the far end of a step, seen from the jar
// that the tree is of.
func ends(s Step, back bool) (near, far string) {
	l := s.Link()
	if back {
		return l.To, l.From
	}
	return l.From, l.To
}

// nearer is the shown branch, one step nearer, that s goes on from.
func nearer(shown []*Branch, s Step, back bool) *Branch {
	for _, b := range shown {
		if b.Depth == s.Depth-1 && meet(b, s, back) {
			return b
		}
	}
	return nil
}

func meet(b *Branch, s Step, back bool) bool {
	if back {
		return s.Link().Follows(b.Link())
	}
	return b.Link().Follows(s.Link())
}

// Link is the step as branches are hung up by it. Jars and lots share one space of
// names; a lot mark and a tag are never alike, since no tag has 8 characters.
func (s Step) Link() Link {
	l := Link{From: string(s.FromJar), To: string(s.ToJar), EarlyMS: s.When.Earliest().UnixMilli(), LateMS: s.When.Latest().UnixMilli()}
	if s.ToLot != "" {
		l.To = s.ToLot
	}
	return l
}
