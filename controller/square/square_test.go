package square_test

import (
	"bytes"
	"image"
	"image/color"
	"image/png"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller/square"
)

// ZBar, a reader of another house, reads what was drawn: digits, letters and UTF-8.
func TestZBarReadsIt(t *testing.T) {
	reader, err := exec.LookPath("zbarimg")
	if err != nil {
		if os.Getenv("CI") != "" {
			t.Fatal("it needs zbarimg: apt-get install zbar-tools")
		}
		t.Skip("it needs zbarimg")
	}
	for _, text := range []string{"2026-11-29-1", "http://192.0.2.7:8070/#pair=KR5TQ2", "Räucherkammer, Charge 12 / Los 7"} {
		for _, draw := range []func(string) (square.Code, error){square.OnAPack, square.OnAScreen} {
			code, err := draw(text)
			require.NoError(t, err)
			const module = 6
			rows := strings.Fields(code.Rows())
			picture := image.NewGray(image.Rect(0, 0, module*len(rows), module*len(rows)))
			for y := range module * len(rows) {
				for x := range module * len(rows) {
					if rows[y/module][x/module] == '0' {
						picture.SetGray(x, y, color.Gray{255})
					}
				}
			}
			var file bytes.Buffer
			require.NoError(t, png.Encode(&file, picture))
			name := filepath.Join(t.TempDir(), "code.png")
			require.NoError(t, os.WriteFile(name, file.Bytes(), 0o600))
			said, err := exec.Command(reader, "--quiet", "--raw", name).Output()
			require.NoError(t, err)
			assert.Equal(t, text, strings.TrimSpace(string(said)))
		}
	}
}

func TestWhatIsTooLongIsRefused(t *testing.T) {
	_, err := square.OnAPack(strings.Repeat("x", 5000))
	assert.ErrorContains(t, err, "square: ")
}
