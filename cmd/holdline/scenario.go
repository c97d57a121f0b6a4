package main

import (
	"holdline/checklist/sheet"
)

// loadOrScenario reads the sheet at path, or the embedded scenario when path
// is empty.
func loadOrScenario(path string) (*sheet.Sheet, error) {
	return sheet.Load(path)
}
