package tui

// DrillView is what the crew perceives of a drill: never what is to come.
type DrillView struct {
	Heard   string   // what was heard last, "" when that is long ago
	WindMps *float64 // what the wind meter shows, nil while it shows the sheet's
}

// practiceWord is the word on every row of a practice firing.
func practiceWord(f *Frame) string {
	if f.Drill != nil {
		return "PRACTICE DRILL"
	}
	return "PRACTICE"
}

// heard is what somebody says in a drill, as a row of the screen; "" for
// nothing.
func (f *Frame) heard() string {
	if f.Drill == nil || f.Drill.Heard == "" {
		return ""
	}
	return "DRILL, heard: " + f.Drill.Heard
}
