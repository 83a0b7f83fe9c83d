package chart

// Kind is the geometry of a shape.
type Kind int

// The kinds. A Line joins all its points; a Dot is a filled disc, a Ring an
// open one; an Area is a filled polygon; a Bar is a vertical line, with a short cap
// of CapMM across its second end when CapMM is set.
const (
	Line Kind = iota
	Dot
	Ring
	Bar
	Area
	Text
)

// Role says what a shape stands for; it sets how strong its ink is.
type Role string

// The roles.
const (
	RoleStage    Role = "stage"    // background of every other stage
	RoleGrid     Role = "grid"     // axis lines and marks
	RoleForecast Role = "forecast" // band and its middle
	RoleTarget   Role = "target"
	RoleTrend    Role = "trend" // thin line between the points
	RoleMeasured Role = "measured"
	RoleComputed Role = "computed"
	RoleBar      Role = "bar" // interval of a point
	RoleLabel    Role = "label"
	RoleTitle    Role = "title"
)

// Anchor is where a text stands relative to its point.
type Anchor string

// The anchors, as SVG names them.
const (
	Start  Anchor = "start"
	Middle Anchor = "middle"
	End    Anchor = "end"
)

// XY is a point in mm from the top left corner.
type XY struct{ XMM, YMM float64 }

// Shape is one drawing primitive, in drawing order. A text's point is on its
// baseline.
type Shape struct {
	Kind     Kind
	Role     Role
	At       []XY    // one point for Dot, Ring and Text; two for Bar
	RadiusMM float64 // Dot, Ring
	CapMM    float64 // Bar: width of the cap; 0 for none
	Text     string
	SizeMM   float64 // Text: font size
	Bold     bool
	Anchor   Anchor
}

// Pen is how a role is inked: a stroke's width in mm, how opaque the ink is
// from 0 to 1, and whether it is dashed.
type Pen struct {
	WidthMM float64
	Opacity float64
	Dashed  bool
}

// PenOf is the pen of a role, for lines, bars and rings; areas and dots use the
// opacity alone.
func PenOf(r Role) Pen {
	switch r {
	case RoleStage:
		return Pen{0, 0.07, false}
	case RoleGrid:
		return Pen{0.2, 0.3, false}
	case RoleForecast:
		return Pen{0.3, 0.2, false}
	case RoleTarget:
		return Pen{0.35, 0.8, true}
	case RoleTrend:
		return Pen{0.3, 0.55, false}
	case RoleBar:
		return Pen{0.35, 0.8, false}
	}
	return Pen{0.4, 1, false}
}
