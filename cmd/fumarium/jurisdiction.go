package main

import (
	"os"
	"strings"

	"github.com/spf13/cobra"

	"fumarium/profile"
)

// jurisdictionVariable is the setting for whoever always makes it in the same place.
const jurisdictionVariable = "FUMARIUM_JURISDICTION"

func jurisdictionFlag(c *cobra.Command, where *string) {
	c.Flags().StringVar(where, "jurisdiction", "", "`PLACE` whose rules hold, but for a product that names its own: "+strings.Join(places(), ", ")+" (default: "+jurisdictionVariable+", or else US)")
}

func places() []string {
	var all []string
	for _, j := range profile.Jurisdictions() {
		all = append(all, j.String())
	}
	return all
}

// placeOf reads the flag, or else the environment.
func placeOf(flag string) (profile.Jurisdiction, error) {
	name := "--jurisdiction"
	if flag == "" {
		name, flag = jurisdictionVariable, os.Getenv(jurisdictionVariable)
	}
	if flag == "" {
		return profile.NoJurisdiction, nil
	}
	j, ok := profile.ParseJurisdiction(flag)
	if !ok {
		return j, usage("%s %s is not known; use one of %s", name, flag, strings.Join(places(), ", "))
	}
	return j, nil
}
