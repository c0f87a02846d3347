package main

import (
	"fmt"
	"strings"

	"afterbeam/internal/help"
)

// guideCommand prints a page of the program's help.
type guideCommand struct {
	Topic    string `arg:"" optional:"" help:"One of tour, operator, physicist, quality, it; without one the topics are listed."`
	Language string `default:"en" enum:"en,de" help:"Language of the page: en or de."`
}

func (g guideCommand) Run(c console) error {
	if g.Topic == "" {
		_, err := fmt.Fprintln(c.out, strings.Join(help.Topics(), "\n"))
		return err
	}
	text, err := help.Page(g.Topic, g.Language)
	if err != nil {
		return fmt.Errorf("%w; the topics are %s", err, strings.Join(help.Topics(), ", "))
	}
	_, err = fmt.Fprint(c.out, text)
	return err
}
