package reference

// Source says where a row was read.
type Source struct {
	// Publication is the named publication with its edition.
	Publication string
	// Locator is the guide, page, table or line within it.
	Locator string
	// Checked says how the figure was read.
	Checked Checked
}

// String is the citation on one line.
func (s Source) String() string {
	if s.Locator == "" {
		return s.Publication
	}
	return s.Publication + ", " + s.Locator
}

// Checked says how well a figure is founded.
type Checked string

const (
	// Read in the named source.
	Read Checked = "yes"
	// Computed by stated arithmetic from figures that were read.
	Computed Checked = "computed"
	// Recalled and not re-read: a cross-check, or the best there is; say so when it is used.
	Recalled Checked = "memory"
)

// rank orders how well figures are founded, best first.
func (c Checked) rank() int {
	switch c {
	case Read:
		return 0
	case Computed:
		return 1
	}
	return 2
}
