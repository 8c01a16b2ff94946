//go:build man

package main

import (
	"os"

	"github.com/spf13/cobra"
	"github.com/spf13/cobra/doc"
)

// The pages of the manual, for deploy/package alone, as those of fumarium.
func init() {
	beside = append(beside, &cobra.Command{
		Use: "man DIR", Short: "Write a manual page for each command", Hidden: true, Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := os.MkdirAll(args[0], 0o755); err != nil {
				return err
			}
			root := cmd.Root()
			root.DisableAutoGenTag = true
			return doc.GenManTree(root, &doc.GenManHeader{Section: "1", Source: "fumarium " + release, Manual: "fumarium"}, args[0])
		},
	})
}
