package edit

import (
	"maps"
	"slices"

	"holdline/checklist/sheet"
)

// Changes lists in words the values that differ in two texts, those that went
// first and then in the order of the newer text.
func Changes(before, after []byte) []string {
	changed := differences(before, after)
	var out []string
	now, err := sheet.Entries(after)
	if err != nil {
		return nil
	}
	there := map[string]bool{}
	for _, e := range now {
		there[e.Key] = true
	}
	for _, key := range slices.Sorted(maps.Keys(changed)) {
		if !there[key] {
			out = append(out, key+": "+changed[key]+" is out")
		}
	}
	for _, e := range now {
		was, is := changed[e.Key]
		switch {
		case !is:
		case was == "":
			out = append(out, e.Key+": "+e.Value+" is new")
		default:
			out = append(out, e.Key+": "+was+" is now "+e.Value)
		}
	}
	return out
}
