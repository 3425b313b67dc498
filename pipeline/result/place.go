package result

// CellsPerLine bounds the values on one line of a wide file.
const CellsPerLine = 2048

// PlaceOf numbers a value of a wide file by its line and cell, so that each
// value is a row with a place of its own; it is below 0. The place of a row of
// any other file is its line.
func PlaceOf(line, cell int) int { return -(line*CellsPerLine + cell) }

// LineOf is the line of a file on which the row of that place stands.
func LineOf(place int) int {
	if place < 0 {
		return -place / CellsPerLine
	}
	return place
}
