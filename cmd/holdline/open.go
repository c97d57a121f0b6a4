package main

import (
	"context"
	"errors"
)

func (p *program) openCockpit(_ context.Context, _ cockpitFlags, _ []string) error {
	return errors.New("the cockpit is not joined to the command yet")
}
