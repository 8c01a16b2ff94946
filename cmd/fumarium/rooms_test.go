package main

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

const module = "fumarium/"

// pureRooms have no clock, I/O, goroutine or randomness: the same inputs must give
// the same outputs in the daemon, the rehearsal and a replay. Each room lists the
// rooms of this module that it may use, so that imports run one way.
var pureRooms = map[string][]string{
	"profile/quantity":           {},
	"profile/source":             {"profile/quantity"},
	"profile/composition":        {"profile/quantity"},
	"profile/lethality":          {"profile/quantity"},
	"profile/chilling":           {"profile/quantity"},
	"profile":                    {"profile/quantity", "profile/source", "profile/composition", "profile/conduction", "profile/lethality", "profile/chilling"},
	"profile/logbook":            {"profile/quantity", "profile/source"},
	"profile/assess":             {"profile", "profile/chilling", "profile/lethality", "profile/logbook", "profile/quantity"},
	"profile/conduction":         {"profile/quantity"},
	"profile/catalog":            {"profile", "profile/quantity", "profile/source"},
	"profile/formula":            {"profile", "profile/composition", "profile/quantity"},
	"profile/sheet":              {"profile", "profile/formula", "profile/quantity"},
	"sensors":                    {"profile/quantity"},
	"sensors/psychrometer":       {"profile/quantity"},
	"sensors/thermocouple":       {"profile/quantity"},
	"sensors/thermistor":         {"profile/quantity"},
	"sensors/plausible":          {"profile/quantity", "sensors", "sensors/psychrometer"},
	"controller/cabinet":         {"profile/quantity", "profile/source", "sensors/psychrometer", "sensors/thermistor", "sensors/thermocouple"},
	"controller/cabinet/shipped": {"controller/cabinet", "profile/quantity", "profile/source"},
	"controller/pid":             {"profile/quantity"},
	"controller/caution":         {},
	"controller/duty":            {},
	"controller/trip":            {},
	"controller": {"controller/cabinet", "controller/duty", "controller/pid", "controller/trip", "profile",
		"profile/chilling", "profile/lethality", "profile/quantity", "sensors", "sensors/psychrometer"},
	"controller/chart": {}, // it knows no batch
	// The same steps must give the same history when a record is replayed. It draws its own
	// figure, so that there is one, and the chart cannot know a batch.
	"controller/history":  {"controller", "controller/chart", "controller/trip", "profile"},
	"controller/snapshot": {"controller", "controller/cabinet", "controller/history", "profile", "profile/lethality", "profile/quantity", "sensors"},
	"sim/plant": {"controller/cabinet", "profile", "profile/composition", "profile/quantity", "sensors/psychrometer",
		"profile/conduction", "sim/plant/film"},
	"sim/plant/film": {"profile/quantity", "sensors/psychrometer"},
}

// pureStandard is what pure rooms may use of the standard library.
var pureStandard = []string{
	"bytes", "cmp", "embed", "encoding/csv", "errors", "fmt", "io", "maps", "math", "math/bits", "path", "regexp", "slices", "sort", "strconv", "strings",
	"time", "unicode", "unicode/utf8",
}

// pureOther is what a pure room may use of other modules.
var pureOther = map[string][]string{"profile/source": {"go.yaml.in/yaml/v4", "go.yaml.in/yaml/v4/plugin/loaderlimits"}}

// readsTheClock are the functions of package time that look at or wait for the
// real one.
var readsTheClock = []string{"Now", "Since", "Until", "Sleep", "After", "AfterFunc", "Tick", "NewTimer", "NewTicker"}

func TestPureRoomsImportOnlyWhatTheyMay(t *testing.T) {
	for room, mayUse := range pureRooms {
		dir := filepath.Join("..", "..", filepath.FromSlash(room))
		files, err := filepath.Glob(filepath.Join(dir, "*.go"))
		require.NoError(t, err)
		require.NotEmpty(t, files, "room %s is empty; take it off the list", room)
		for _, name := range files {
			if strings.HasSuffix(name, "_test.go") {
				continue
			}
			file, err := parser.ParseFile(token.NewFileSet(), name, nil, 0)
			require.NoError(t, err)
			for _, spec := range file.Imports {
				path, err := strconv.Unquote(spec.Path.Value)
				require.NoError(t, err)
				own, isOwn := strings.CutPrefix(path, module)
				switch {
				case isOwn && slices.Contains(mayUse, own):
				case !isOwn && (slices.Contains(pureStandard, path) || slices.Contains(pureOther[room], path)):
				default:
					t.Errorf("%s imports %s: pass what it needs in as an argument, or say in rooms_test.go why the arrow is right", name, path)
				}
			}
			ast.Inspect(file, func(n ast.Node) bool {
				switch n := n.(type) {
				case *ast.GoStmt:
					t.Errorf("%s starts a goroutine: a pure room is one thread of thought", name)
				case *ast.SelectorExpr:
					if x, ok := n.X.(*ast.Ident); ok && x.Name == "time" && slices.Contains(readsTheClock, n.Sel.Name) {
						t.Errorf("%s calls time.%s: pass the time in", name, n.Sel.Name)
					}
				}
				return true
			})
		}
	}
}

// TestEveryRoomIsKnown makes a new folder of Go files say what it is.
func TestEveryRoomIsKnown(t *testing.T) {
	shells := []string{ // rooms with a clock, I/O, goroutines or randomness
		"cmd/fumarium", "cmd/fumarium/internal/service", "cmd/fumarium/internal/wiring", "controller/relay", "controller/loop", "controller/metrics", "controller/web", "controller/record", "sim", "sim/chips", "sim/fault", "sim/campaign",
		"sensors/max31855", "sensors/max31856", "sensors/max6675", "sensors/mcp9600", "sensors/ads1115", "sensors/ds18b20", "sensors/sensortest",
	}
	root := filepath.Join("..", "..")
	err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if d.IsDir() && (d.Name() == "testdata" || (strings.HasPrefix(d.Name(), ".") && d.Name() != "..")) {
			return fs.SkipDir
		}
		if !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") {
			return nil
		}
		room, err := filepath.Rel(root, filepath.Dir(path))
		if err != nil {
			return err
		}
		room = filepath.ToSlash(room)
		if _, pure := pureRooms[room]; !pure && !slices.Contains(shells, room) {
			t.Errorf("room %s is on neither list of rooms_test.go", room)
		}
		return nil
	})
	require.NoError(t, err)
}
