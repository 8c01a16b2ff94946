package main

import (
	"cmp"
	"runtime"
	"runtime/debug"
	"strings"
)

// release is the number that deploy/package gives the program that it packs.
var release string

// A build is what the go command wrote into the program about how it was made.
type build struct {
	version string // (devel) where the go command knew none
	commit  string // empty where it was built without git
	time    string // of the commit
	changed bool   // the sources were not those of the commit
	target  string
}

func thisBuild() build {
	info, ok := debug.ReadBuildInfo()
	if !ok {
		info = &debug.BuildInfo{}
	}
	return buildFrom(info)
}

func buildFrom(info *debug.BuildInfo) build {
	set := map[string]string{}
	for _, s := range info.Settings {
		set[s.Key] = s.Value
	}
	b := build{
		version: cmp.Or(release, info.Main.Version, "unknown"),
		commit:  set["vcs.revision"],
		time:    set["vcs.time"],
		changed: set["vcs.modified"] == "true",
		target:  runtime.GOOS + "/" + runtime.GOARCH,
	}
	if arm := set["GOARM"]; arm != "" { // an ARMv6 board cannot run what was built for ARMv7
		b.target += " v" + arm
	}
	return b
}

// version is what metrics and record call the program.
func version() string { return thisBuild().version }

// String is the answer to --version.
func (b build) String() string {
	commit := "unknown (go build in a git clone stamps it)"
	if b.commit != "" {
		commit = strings.TrimSpace(b.commit + " " + b.time)
		if b.changed {
			commit += ", with changes that are in no commit"
		}
	}
	return "fumarium " + b.version + "\ncommit   " + commit + "\nGo       " + strings.TrimPrefix(runtime.Version(), "go") + "\ntarget   " + b.target
}
