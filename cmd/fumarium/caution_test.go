package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller/caution"
	"fumarium/profile/catalog"
)

// plainly is a text without comment marks and line breaks.
func plainly(text string) string {
	return strings.Join(strings.Fields(strings.ReplaceAll("\n"+text, "\n#", "\n")), " ")
}

func TestHelpGivesTheCautions(t *testing.T) {
	for name, want := range map[string][]string{
		"hold": {caution.Smoulders}, "stop": {caution.Smoulders}, "abort": {caution.Smoulders}, "off": {caution.Smoulders},
		"restart": {caution.HeatReturns}, "reset": {caution.BeforeReset}, "start": caution.BeforeHeat,
		"check": {caution.NoFault}, "plan": {caution.Food}, "products": {caution.Food},
	} {
		status, help, _ := call(t, name, "--help")
		assert.Equal(t, exitGood, status)
		for _, text := range want {
			assert.Contains(t, plainly(help), plainly(text), name)
		}
	}
}

// The cautions come with the command too: before what may bring heat, also when the
// daemon then refuses or is not there, after what takes it away.
func TestCommandsGiveTheCautions(t *testing.T) {
	long(t)
	for name, text := range map[string]string{
		"hold": caution.Smoulders, "stop": caution.Smoulders, "abort": caution.Smoulders, "restart": caution.HeatReturns, "reset": caution.BeforeReset,
	} {
		status, out, _ := call(t, name, "--server", "http://127.0.0.1:1", "--state", t.TempDir())
		assert.Equal(t, exitCouldNo, status)
		assert.Equal(t, text+"\n", out, name)
	}
	for _, name := range catalog.Names() {
		_, out, _ := call(t, "products", "--show", name)
		assert.True(t, strings.HasPrefix(plainly(out), plainly(caution.Food)), name)
	}
	_, out, _ := call(t, "plan", "caraway-sticks", "--ready", "2099-01-01 12:00", "--runs", "10")
	assert.Contains(t, out, caution.Food)
	status, out, _ := call(t, "check", filepath.Join("..", "..", "controller", "cabinet", "shipped", "fridge-body.yaml"))
	assert.Equal(t, exitGood, status)
	assert.Equal(t, "no fault found in 1 file\n"+caution.NoFault+"\n", out)
}

func TestPapersGiveTheCautions(t *testing.T) {
	for file, want := range map[string][]string{
		"deploy/wiring.md":                            {caution.Wood, caution.Metal, caution.Refrigerator},
		"deploy/cabinet.yaml":                         {caution.Wood, caution.Metal},
		"controller/cabinet/shipped/fridge-body.yaml": {caution.Refrigerator},
	} {
		data, err := os.ReadFile(filepath.Join("..", "..", filepath.FromSlash(file)))
		require.NoError(t, err)
		for _, text := range want {
			assert.Contains(t, plainly(string(data)), plainly(text), file)
		}
	}
}
