package paper

import "time"

// Kind is which paper it is.
type Kind string

// The papers.
const (
	// PatientSheet is given to the patient, and to whoever cares for the patient: plain words, no risk numbers.
	PatientSheet Kind = "patient-sheet"
	// DoctorLetter goes to the patient's own doctor.
	DoctorLetter Kind = "doctor-letter"
	// PhysicistReport holds the estimate with all it rests on.
	PhysicistReport Kind = "physicist-report"
)

// Kinds lists the papers.
func Kinds() []Kind { return []Kind{PatientSheet, DoctorLetter, PhysicistReport} }

// Document is one paper, whatever it is written as.
type Document struct {
	Kind     Kind
	Language string // a BCP 47 tag
	Title    string
	// Centre, Department and Contact are the head of the first page.
	Centre, Department string
	Contact            []string
	// Return is the line above the address, Address the window of the envelope; nil for a paper that is handed over.
	Return  string
	Address []string
	// Banner names the patient and the case on every page.
	Banner string
	Blocks []Block
	// Foot stands on every page: what paper it is, of which estimate, when and by what it was made.
	Foot string
	// PageOf is "Page {page} of {pages}" in the paper's language.
	PageOf string
	// Made is when the paper was made.
	Made    time.Time
	Program string
}

// Block is one part of a document, in reading order.
type Block interface{ block() }

// Heading opens a section; level 1 is the title.
type Heading struct {
	Level int
	Text  string
}

// Style is how a paragraph is meant.
type Style uint8

// The styles.
const (
	Plain   Style = iota
	Caution       // something that must not be missed
	Small         // particulars for who looks closer
	Large         // what a reader must find at once
)

// Paragraph is running text. Lead stands before it in bold. Lang is the language where it is not that of the document.
type Paragraph struct {
	Lead, Text string
	Style      Style
	Lang       string
}

// List is a list of short texts.
type List struct {
	Items []string
	Small bool
	Lang  string
}

// Column is one column of a table; widths are relative to each other.
type Column struct {
	Title string
	Width float64
	Right bool // numbers
}

// Table has a row of titles unless Columns have none; the first cell of each row is its heading.
type Table struct {
	Caption string
	Columns []Column
	Rows    [][]string
	Small   bool
	// Whole keeps the table on one page where a page has room for it.
	Whole bool
	Lang  string
}

// Box is a frame around blocks that belong to another reader than the rest.
type Box struct{ Blocks []Block }

// Picture is a PNG with what it shows in words.
type Picture struct {
	PNG          []byte
	Alt, Caption string
	Width        float64 // mm
}

// Drawing is lines and words on a field of Width times Height mm, x to the right and y down, with what it shows in words.
type Drawing struct {
	Width, Height float64
	Shapes        []Shape
	Labels        []Label
	Alt           string
}

// Shape is a closed outline.
type Shape struct {
	Points []Point
	// Fill and Line are greys from 0, black, to 1, white; Line is 0.5 mm thick where Bold.
	Fill, Line float64
	Bold       bool
}

// Point is a place on a drawing in mm.
type Point struct{ X, Y float64 }

// Label is a word centred at a place of a drawing.
type Label struct {
	At   Point
	Text string
}

// Signature is a line to sign on for each of the texts under it.
type Signature struct{ Under []string }

func (Heading) block()   {}
func (Paragraph) block() {}
func (List) block()      {}
func (Table) block()     {}
func (Box) block()       {}
func (Picture) block()   {}
func (Drawing) block()   {}
func (Signature) block() {}

// Texts lists every text of a document.
func (d Document) Texts() []string {
	all := []string{d.Title, d.Centre, d.Department, d.Return, d.Banner, d.Foot, d.PageOf}
	all = append(append(all, d.Contact...), d.Address...)
	return append(all, textsOf(d.Blocks)...)
}

func textsOf(blocks []Block) (all []string) {
	for _, b := range blocks {
		switch b := b.(type) {
		case Heading:
			all = append(all, b.Text)
		case Paragraph:
			all = append(all, b.Lead, b.Text)
		case List:
			all = append(all, b.Items...)
		case Table:
			all = append(all, b.Caption)
			for _, c := range b.Columns {
				all = append(all, c.Title)
			}
			for _, row := range b.Rows {
				all = append(all, row...)
			}
		case Box:
			all = append(all, textsOf(b.Blocks)...)
		case Picture:
			all = append(all, b.Alt, b.Caption)
		case Drawing:
			all = append(all, b.Alt)
			for _, l := range b.Labels {
				all = append(all, l.Text)
			}
		case Signature:
			all = append(all, b.Under...)
		}
	}
	return all
}
