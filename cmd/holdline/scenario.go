package main

import (
	"holdline/checklist/sheet"
	"holdline/checklist/sheet/scenario"
)

// loadOrScenario reads the sheet at path, or the embedded scenario when path
// is empty.
func loadOrScenario(path string) (*sheet.Sheet, error) {
	if path == "" {
		return scenario.Open()
	}
	return sheet.Load(path)
}
