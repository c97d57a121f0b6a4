package edit

import (
	"maps"
	"slices"

	"holdline/checklist/sheet"
)

// valuesOf reads the values of a text by key, nil where it is no TOML.
func valuesOf(text []byte) (list []sheet.Entry, byKey map[string]string) {
	list, err := sheet.Entries(text)
	if err != nil {
		return nil, nil
	}
	byKey = map[string]string{}
	for _, e := range list {
		byKey[e.Key] = e.Value
	}
	return list, byKey
}

// differences lists the keys whose values differ in two texts, with the old
// value.
func differences(before, after []byte) map[string]string {
	_, was := valuesOf(before)
	_, is := valuesOf(after)
	if was == nil || is == nil {
		return nil
	}
	out := map[string]string{}
	for key, v := range was {
		if now, there := is[key]; !there || now != v {
			out[key] = v
		}
	}
	for key := range is {
		if _, there := was[key]; !there {
			out[key] = ""
		}
	}
	return out
}

// Changes lists in words the values that differ in two texts, those that went
// first and then in the order of the newer text.
func Changes(before, after []byte) []string {
	changed := differences(before, after)
	list, now := valuesOf(after)
	var out []string
	for _, key := range slices.Sorted(maps.Keys(changed)) {
		if _, there := now[key]; !there {
			out = append(out, key+": "+changed[key]+" is out")
		}
	}
	for _, e := range list {
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
