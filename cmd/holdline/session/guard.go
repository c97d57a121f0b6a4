package session

import (
	"reflect"

	tea "github.com/charmbracelet/bubbletea"
)

// guarded lets a panic of the cockpit, in its model or in a command, open the
// permit before anybody gets to catch it.
type guarded struct {
	model tea.Model
	off   func()
}

func (g guarded) open() {
	if r := recover(); r != nil {
		g.off()
		panic(r)
	}
}

// Init implements tea.Model.
func (g guarded) Init() tea.Cmd {
	defer g.open()
	return g.command(g.model.Init())
}

// Update implements tea.Model.
func (g guarded) Update(msg tea.Msg) (tea.Model, tea.Cmd) {
	defer g.open()
	model, cmd := g.model.Update(msg)
	return guarded{model, g.off}, g.command(cmd)
}

// View implements tea.Model.
func (g guarded) View() string {
	defer g.open()
	return g.model.View()
}

var commandType = reflect.TypeFor[tea.Cmd]()

// command guards a command, and those that it turns out to be made of.
func (g guarded) command(cmd tea.Cmd) tea.Cmd {
	if cmd == nil {
		return nil
	}
	return func() tea.Msg {
		defer g.open()
		msg := cmd()
		v := reflect.ValueOf(msg)
		if !v.IsValid() || v.Kind() != reflect.Slice || v.Type().Elem() != commandType {
			return msg
		}
		// A batch or a sequence: both are slices of commands.
		out := reflect.MakeSlice(v.Type(), v.Len(), v.Len())
		for i := range v.Len() {
			if c, _ := v.Index(i).Interface().(tea.Cmd); c != nil {
				out.Index(i).Set(reflect.ValueOf(g.command(c)))
			}
		}
		return out.Interface()
	}
}
