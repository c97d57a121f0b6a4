package tui

import (
	"slices"
	"strconv"
	"strings"

	"holdline/arming"
	"holdline/checklist"
)

// fold is how names are compared: without case and without blanks, because a
// blank cannot be typed where the space bar is HOLD.
func fold(name string) string {
	return strings.ToLower(strings.Join(strings.Fields(name), ""))
}

// pick returns the name that was meant: by its number in the list, or by its
// beginning when only one begins so.
func pick(typed string, names []string) (string, bool) {
	want := fold(typed)
	if want == "" {
		return "", false
	}
	if n, ok := whole(want); ok && n >= 1 && n <= len(names) {
		return names[n-1], true
	}
	found := ""
	for _, n := range names {
		switch f := fold(n); {
		case f == want:
			return n, true
		case strings.HasPrefix(f, want):
			if found != "" {
				return "", false
			}
			found = n
		}
	}
	return found, found != ""
}

// whole reads a count of at most four figures.
func whole(text string) (int, bool) {
	n, err := strconv.ParseUint(text, 10, 0)
	return int(n), err == nil && len(text) <= 4
}

func isNumber(text string) bool {
	_, ok := whole(fold(text))
	return ok
}

// numbered puts its number before each name.
func numbered(names []string) []string {
	out := make([]string, len(names))
	for i, n := range names {
		out[i] = strconv.Itoa(i+1) + " " + n
	}
	return out
}

// as returns the name on the crew list that was typed without its blanks, else
// what was typed, for the machine to refuse.
func as(typed, name string) string {
	if fold(typed) == fold(name) {
		return name
	}
	return typed
}

// crewNames lists everybody signed on, each once.
func crewNames(s *arming.State) []string {
	var out []string
	for _, n := range slices.Concat(officers(s), s.Crew.Spotter[:], s.Crew.HookUp[:]) {
		if n != "" && !slices.ContainsFunc(out, func(o string) bool { return fold(o) == fold(n) }) {
			out = append(out, n)
		}
	}
	return out
}

// mayGo lists those of the crew who may be sent forward.
func mayGo(f *Frame) []string {
	return slices.DeleteFunc(crewNames(&f.State), func(n string) bool {
		why, _ := f.State.Crew.MayGo(f.Plan, n)
		return why != ""
	})
}

// signOnFirst asks a stranger among the names to sign on, with a role, before
// they are sent forward; nil where all of them have.
func signOnFirst(f *Frame, names []string) *form {
	for _, name := range names {
		if name = strings.TrimSpace(name); name == "" || f.State.Crew.SignedOn(name) {
			continue
		}
		const how = "type hook-up: they have heard what HOLD means"
		fields, send := typed("hook-up", how, how, arming.SignOn{Name: name, Role: checklist.HookUpPerson})
		fields[0].label = "role"
		return &form{task: "sign-on", title: "SIGN ON: " + name, fields: fields, send: send,
			note: name + " has not signed on. A spotter stays at the post, the range officer at the line."}
	}
	return nil
}

// officers lists the two who may scrub.
func officers(s *arming.State) []string {
	var out []string
	for _, n := range []string{s.Crew.Firing, s.Crew.Range} {
		if n != "" {
			out = append(out, n)
		}
	}
	return out
}
