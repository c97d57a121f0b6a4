package tui

import "holdline/arming"

// changeSheet says, where the prediction says no, how the sheet is changed: not
// here. The plan of a firing is a constant, and its record and the accepted
// prediction rest on the sheet that the cockpit was opened with.
func (m *Model) changeSheet() string {
	fc := &m.forecast
	if m.frame.State.Phase != arming.Setup || !fc.known || fc.allGo {
		return ""
	}
	return "to change the sheet: ctrl+c leaves, holdline edit changes it, then open anew"
}
