package section_test

import (
	"bytes"
	"encoding/xml"
	"errors"
	"flag"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller/cabinet"
	"fumarium/controller/cabinet/shipped"
	"fumarium/controller/section"
	"fumarium/profile"
	"fumarium/profile/catalog"
)

var update = flag.Bool("update", false, "rewrite the golden files")

// Every shipped cabinet is drawn as its golden file has it, and each of its probes is
// marked once.
func TestShippedCabinets(t *testing.T) {
	ring, err := catalog.Find("marjoram-ring")
	require.NoError(t, err)
	cabinets, err := shipped.All()
	require.NoError(t, err)
	for _, entry := range cabinets {
		for name, place := range map[string]profile.Place{"": profile.Chamber, "-ice": profile.IceWater} {
			svg := section.Draw(entry.Value, ring.Value, place)
			file := filepath.Join("testdata", strings.TrimSuffix(filepath.Base(entry.File), ".yaml")+name+".svg")
			if *update {
				require.NoError(t, os.WriteFile(file, svg, 0o644))
			}
			want, err := os.ReadFile(file)
			require.NoError(t, err)
			assert.Equal(t, string(want), string(svg), file)
			marked := probesIn(t, svg)
			require.Len(t, marked, len(entry.Value.Probes))
			for i, p := range entry.Value.Probes {
				assert.Equal(t, p.Name, marked[i])
			}
		}
	}
}

// probesIn reads the drawing as XML and gives the names of the probes in it.
func probesIn(t *testing.T, svg []byte) (names []string) {
	t.Helper()
	d := xml.NewDecoder(bytes.NewReader(svg))
	for {
		token, err := d.Token()
		if errors.Is(err, io.EOF) {
			return names
		}
		require.NoError(t, err)
		if e, ok := token.(xml.StartElement); ok {
			for _, a := range e.Attr {
				if a.Name.Local == "data-probe" {
					names = append(names, a.Value)
				}
				assert.NotEqual(t, "style", a.Name.Local, "the page's policy takes no style in place")
			}
		}
	}
}

// A file that does not say how big the cabinet is, and names that mean something to XML.
func TestWithoutSizesAndWithOddNames(t *testing.T) {
	c := &cabinet.Cabinet{Probes: []cabinet.Probe{{Name: `<a & "b">`, Role: cabinet.ChamberProbe}}}
	assert.Equal(t, []string{`<a & "b">`}, probesIn(t, section.Draw(c, nil, 0)))
}
