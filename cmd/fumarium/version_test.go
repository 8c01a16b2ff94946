package main

import (
	"runtime"
	"runtime/debug"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestVersion(t *testing.T) {
	setting := func(pairs ...string) (s []debug.BuildSetting) {
		for i := 0; i < len(pairs); i += 2 {
			s = append(s, debug.BuildSetting{Key: pairs[i], Value: pairs[i+1]})
		}
		return s
	}
	here := runtime.GOOS + "/" + runtime.GOARCH
	cases := map[string]struct {
		info *debug.BuildInfo
		want [4]string
	}{
		"from a commit": {
			&debug.BuildInfo{Main: debug.Module{Version: "v0.0.0-20261128101500-0123456789ab"},
				Settings: setting("vcs", "git", "vcs.revision", "0123456789abcdef0123456789abcdef01234567", "vcs.time", "2026-11-28T10:15:00Z", "vcs.modified", "false")},
			[4]string{"v0.0.0-20261128101500-0123456789ab", "0123456789abcdef0123456789abcdef01234567 2026-11-28T10:15:00Z", "", here},
		},
		"changed since, ARMv6": {
			&debug.BuildInfo{Main: debug.Module{Version: "v0.0.0-20261128101500-0123456789ab+dirty"},
				Settings: setting("vcs.revision", "0123", "vcs.time", "2026-11-28T10:15:00Z", "vcs.modified", "true", "GOARM", "6")},
			[4]string{"v0.0.0-20261128101500-0123456789ab+dirty", "0123 2026-11-28T10:15:00Z, with changes that are in no commit", "", here + " v6"},
		},
		"without git":   {&debug.BuildInfo{Main: debug.Module{Version: "(devel)"}}, [4]string{"(devel)", "unknown (go build in a git clone stamps it)", "", here}},
		"no build info": {&debug.BuildInfo{}, [4]string{"unknown", "unknown (go build in a git clone stamps it)", "", here}},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			c.want[2] = strings.TrimPrefix(runtime.Version(), "go")
			lines := strings.Split(buildFrom(c.info).String(), "\n")
			require.Len(t, lines, 4)
			for i, key := range []string{"fumarium ", "commit   ", "Go       ", "target   "} {
				assert.Equal(t, key+c.want[i], lines[i])
			}
		})
	}
}

// What the command prints is what the metrics and the record call the program.
func TestVersionFlag(t *testing.T) {
	status, out, said := call(t, "--version")
	assert.Equal(t, exitGood, status)
	assert.Empty(t, said)
	assert.Equal(t, thisBuild().String()+"\n", out)
	assert.Contains(t, out, "fumarium "+version()+"\n")
}
