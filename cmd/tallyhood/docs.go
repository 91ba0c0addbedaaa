// SPDX-License-Identifier: Apache-2.0

//go:build docs

package main

import (
	"fmt"
	"os"
	"path/filepath"

	"github.com/spf13/cobra"
	"github.com/spf13/cobra/doc"
)

func init() { added = append(added, docsCommand) }

// docsCommand writes man pages and shell completions of all other commands. It
// is built only for packaging: the program on a box does not carry it.
func docsCommand() *cobra.Command {
	return &cobra.Command{
		Use:    "docs FOLDER",
		Short:  "write man pages and shell completions",
		Args:   cobra.ExactArgs(1),
		Hidden: true,
		RunE:   func(c *cobra.Command, args []string) error { return writeDocs(c.Root(), args[0]) },
	}
}

// writeDocs fills folder/man1 and folder/completions. The pages are dated by
// SOURCE_DATE_EPOCH.
func writeDocs(root *cobra.Command, folder string) error {
	root.DisableAutoGenTag = true
	for _, c := range root.Commands() {
		if c.Name() == "completion" {
			c.Hidden = true // packages bring them
		}
	}
	man, shells := filepath.Join(folder, "man1"), filepath.Join(folder, "completions")
	for _, dir := range []string{man, shells} {
		if err := os.MkdirAll(dir, 0o755); err != nil {
			return err
		}
	}
	header := &doc.GenManHeader{Section: "1", Source: "tallyhood", Manual: "tallyhood"}
	if err := doc.GenManTree(root, header, man); err != nil {
		return fmt.Errorf("man pages: %w", err)
	}
	for name, write := range map[string]func(string) error{
		"tallyhood.bash": func(f string) error { return root.GenBashCompletionFileV2(f, true) },
		"_tallyhood":     root.GenZshCompletionFile,
		"tallyhood.fish": func(f string) error { return root.GenFishCompletionFile(f, true) },
	} {
		if err := write(filepath.Join(shells, name)); err != nil {
			return fmt.Errorf("completion %s: %w", name, err)
		}
	}
	return nil
}
