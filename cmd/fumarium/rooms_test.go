package main

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"maps"
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
	"profile/quantity":    {},
	"profile/source":      {"profile/quantity"},
	"profile/composition": {"profile/quantity"},
	"profile/lethality":   {"profile/quantity"},
	"profile/chilling":    {"profile/quantity"},
	"profile/diffusion":   {"profile/quantity"},
	"profile/ferment":     {"profile/quantity"},
	"profile/growth":      {"profile/quantity"},
	"profile/fish":        {"profile/quantity"},
	"profile":             {"profile/quantity", "profile/source", "profile/composition", "profile/ferment", "profile/fish", "profile/lethality", "profile/chilling", "profile/diffusion"},
	"profile/logbook":     {"profile/quantity", "profile/source"},
	"profile/deviation":   {"profile", "profile/proof", "profile/chilling", "profile/ferment", "profile/fish", "profile/formula", "profile/growth", "profile/lethality", "profile/quantity"},
	"profile/assess":      {"profile", "profile/deviation", "profile/proof", "profile/chilling", "profile/lethality", "profile/logbook", "profile/quantity", "profile/source"},
	"profile/conduction":  {"profile/quantity"},
	"profile/catalog":     {"profile", "profile/quantity", "profile/source"},
	"profile/formula":     {"profile", "profile/chilling", "profile/composition", "profile/ferment", "profile/fish", "profile/quantity", "profile/source"},
	"profile/lint": {"profile", "profile/chilling", "profile/composition", "profile/conduction", "profile/diffusion", "profile/ferment", "profile/fish", "profile/formula", "profile/lethality",
		"profile/quantity", "profile/source"},
	"profile/assistant":             {"profile", "profile/quantity"}, // others judge what it writes
	"profile/portion":               {"profile", "profile/formula", "profile/quantity"},
	"profile/sheet":                 {"profile", "profile/diffusion", "profile/ferment", "profile/fish", "profile/formula", "profile/proof", "profile/quantity", "profile/source"},
	"profile/weighed":               {"profile", "profile/formula", "profile/proof", "profile/quantity", "profile/source"},
	"profile/variant":               {"profile", "profile/quantity", "profile/source"},
	"sensors":                       {"profile/quantity"},
	"sensors/psychrometer":          {"profile/quantity"},
	"sensors/psychrometer/moistair": {"profile/quantity", "sensors/psychrometer"},
	"sensors/thermocouple":          {"profile/quantity"},
	"sensors/thermistor":            {"profile/quantity"},
	"sensors/channel":               {"profile/quantity", "sensors", "sensors/psychrometer"},
	"controller/cabinet":            {"profile/quantity", "profile/source", "sensors/channel", "sensors/psychrometer", "sensors/thermistor", "sensors/thermocouple"},
	"controller/cabinet/shipped":    {"controller/cabinet", "profile/quantity", "profile/source"},
	"controller/pid":                {"profile/quantity"},
	"controller/caution":            {},
	"controller/duty":               {},
	"controller/square":             {},
	"controller/trip":               {},
	"controller/tune":               {"profile/quantity"},
	"profile/proof":                 {"profile", "profile/chilling", "profile/ferment", "profile/fish", "profile/formula", "profile/lethality", "profile/quantity"},
	"controller": {"profile/proof", "controller/cabinet", "controller/duty", "controller/pid", "controller/trip", "controller/tune", "profile",
		"profile/lethality", "profile/quantity", "sensors", "sensors/psychrometer"},
	"controller/layout": {},                   // it knows no page, but its language
	"controller/chart":  {"profile/quantity"}, // it knows no batch, but in which units people read
	// The cabinet cut open, as its file and the product's have it.
	"controller/section": {"controller/cabinet", "profile", "profile/quantity"},
	// The same steps must give the same history when a record is replayed. It draws its own
	// figure, so that there is one, and the chart cannot know a batch.
	"controller/history":  {"controller", "controller/chart", "controller/trip", "profile"},
	"controller/panel":    {"controller", "controller/snapshot", "controller/trip", "profile", "profile/proof", "profile/quantity"},
	"controller/snapshot": {"controller", "controller/cabinet", "controller/history", "controller/trip", "profile", "profile/proof", "profile/lethality", "profile/quantity", "profile/weighed", "sensors"},
	// No label may hang on a file or a clock: what it says stands on the record.
	"controller/label": {"controller/caution", "controller/layout", "controller/square", "profile", "profile/quantity", "profile/weighed"},
	// It tells what others have read and replayed, so that a word on food hangs on no file.
	"controller/report": {"controller", "controller/cabinet", "controller/caution", "controller/chart", "controller/history", "controller/layout", "controller/trip", "profile", "profile/chilling",
		"profile/deviation", "profile/lethality", "profile/proof", "profile/quantity", "profile/sheet", "profile/variant", "profile/weighed"},
	// Before a start and after a restart the same course must come to the same plan; who
	// rehearsed it is not its matter.
	"controller/outlook": {"controller", "controller/history", "controller/snapshot", "controller/trip", "profile"},
	"sim/plant": {"controller/cabinet", "profile", "profile/composition", "profile/quantity", "sensors/psychrometer",
		"profile/conduction", "sim/plant/film"},
	"sim/plant/film": {"profile/quantity", "sensors/psychrometer"},
	// It asks both parsers what they ask, so it stands where both are known.
	"cmd/fumarium/internal/keys": {"controller/cabinet", "profile", "profile/source"},
	// What is said of a status hangs on nothing but it.
	"cmd/fumarium-mqtt/internal/said": {},
}

// pureStandard is what pure rooms may use of the standard library.
var pureStandard = []string{
	"bufio", "bytes", "cmp", "embed", "encoding/base64", "encoding/csv", "encoding/json", "errors", "fmt", "image", "image/color", "image/draw", "io", "maps", "math", "math/bits", "path", "regexp", "slices", "sort", "strconv", "strings",
	"time", "unicode", "unicode/utf8",
}

// barred says why a pure room may not use what people would reach for.
var barred = map[string]string{
	"os":           "a file or a variable of the system may say another thing at the next reading; hand the bytes in",
	"net":          "a network answers when it likes, or never; hand in what it said",
	"net/http":     "a network answers when it likes, or never; hand in what it said",
	"log":          "what is worth a line is an event or an error of the caller, or it is said twice",
	"log/slog":     "what is worth a line is an event or an error of the caller, or it is said twice",
	"sync":         "one thread of thought needs no lock; a lock says that somebody else looks on",
	"sync/atomic":  "one thread of thought needs no lock; a lock says that somebody else looks on",
	"context":      "what does not wait need not be called off",
	"math/rand":    "a replay would decide otherwise; hand the numbers in",
	"math/rand/v2": "a replay would decide otherwise; hand the numbers in",
	"reflect":      "names of the program must not decide; declare them",
	"unsafe":       "the same bytes must mean the same on every board",
}

// arrows are imports that no room may have, pure or not. An empty from or to is every
// room; a name stands for the rooms below it, too.
var arrows = []struct{ from, to, why string }{
	{"profile", "sensors", "a product is a paper: it knows no probe"},
	{"profile", "controller", "a product is the same in every cabinet"},
	{"profile", "sim", "a product is the same in the real world"},
	{"sensors", "controller", "a chip gives readings and knows no batch"},
	{"sensors", "sim", "what reads the real chip must not know that there is a simulated one"},
	{"controller", "sim", "only the program joins both worlds; the daemon's rooms must not know which one they are in"},
	{"controller", "cmd", "imports run towards the maths"},
	{"sim", "cmd", "imports run towards the maths"},
	{"controller/web", "controller/relay", "no page can reach a relay; it hands in a command"},
	{"controller/web", "controller/loop", "the page sees a snapshot and hands in a command, whoever steps"},
	{"controller/metrics", "controller/relay", "who only looks must not be able to switch"},
	{"controller/metrics", "controller/loop", "who only looks must not be able to step"},
	{"controller/record", "controller/relay", "a full disk must not reach a relay"},
	{"controller/relay", "controller/record", "switching off waits for no disk"},
	{"controller/relay", "profile", "a relay knows no batch"},
	{"controller/courier", "controller/loop", "what talks to a hub must not be able to step"},
	{"controller/courier", "controller/relay", "what talks to a hub must not be able to switch"},
	{"controller/courier", "controller/web", "what talks to a hub must not hand in a command"},
	{"controller/loop", "controller/courier", "no step waits for a network"},
	{"controller/web", "controller/courier", "no page waits for a hub"},
	{"cmd/fumarium", "cmd/fumarium-hub", "the board's program has no database server in it"},
	{"cmd/fumarium-hub", "controller/loop", "nothing central can start heat"},
	{"cmd/fumarium-hub", "controller/relay", "nothing central can start heat"},
	{"cmd/fumarium-hub", "controller/web", "nothing central hands in a command"},
	{"cmd/fumarium-hub", "controller/courier", "the hub answers; it asks no board"},
	{"cmd/fumarium-mqtt", "controller", "it reads what the page says, as any other program; so it can neither step nor switch"},
	{"cmd/fumarium", "cmd/fumarium-mqtt", "what a broker sends is read by no process that holds a heater"},
}

// owners are the rooms that may use another module, so that it can be exchanged in one
// place.
var owners = map[string]struct {
	rooms []string
	why   string
}{
	"github.com/spf13":      {[]string{"cmd/fumarium", "cmd/fumarium-hub", "cmd/fumarium-mqtt"}, "the command line is the program's"},
	"github.com/jackc":      {[]string{"cmd/fumarium-hub/internal/store"}, "one room knows that the hub keeps in PostgreSQL; 3.9 MB that no board carries"},
	"github.com/eclipse":    {[]string{"cmd/fumarium-mqtt/internal/line"}, "one room knows the broker"},
	"rsc.io/qr":             {[]string{"controller/square"}, "one room draws codes"},
	"golang.org/x/term":     {[]string{"cmd/fumarium"}, "the terminal is the program's"},
	"modernc.org":           {[]string{"controller/record"}, "one room knows that the record is a database"},
	"github.com/prometheus": {[]string{"controller/metrics", "cmd/fumarium-hub/internal/desk"}, "one room of a program knows whose metrics they are"},
	"golang.org/x/sys":      {[]string{"controller/relay", "controller/record", "controller/courier", "controller/loop", "cmd/fumarium"}, "the kernel is met where a line, a lock or a clock is"},
	"periph.io/x/host":      {[]string{"cmd/fumarium/internal/wiring"}, "one room opens buses; drivers take what is open"},
	"periph.io/x/conn":      {[]string{"cmd/fumarium/internal/wiring", "sensors", "sim/chips"}, "buses end at the drivers and their twins"},
	"periph.io/x/devices":   {[]string{"cmd/fumarium/internal/wiring", "sensors", "sim/chips"}, "buses end at the drivers and their twins"},
	"golang.org/x/image":    {[]string{"controller/panel"}, "one room draws letters"},
	"html/template":         {nil, "it calls methods by name, so the linker drops none: 2.4 MB; controller/layout fills pages"},
	"text/template":         {[]string{"controller/layout"}, "its parser alone: see html/template"},
	"go.yaml.in":            {[]string{"profile/source"}, "one room reads files, and says where they are wrong"},
}

// pureOther is what a pure room may use of other modules.
var pureOther = map[string][]string{"profile/source": {"go.yaml.in/yaml/v4", "go.yaml.in/yaml/v4/plugin/loaderlimits"},
	"controller/panel":  {"golang.org/x/image/font", "golang.org/x/image/font/inconsolata", "golang.org/x/image/math/fixed"},
	"controller/square": {"rsc.io/qr"},
	"controller/layout": {"html", "reflect", "text/template/parse"}} // whose names are those of the layout's fields

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
				case barred[path] != "":
					t.Errorf("%s imports %s: %s", name, path, barred[path])
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

// TestARehearsalStartsNoGoroutine: a rehearsal starts no goroutine; only a spread of them does, so it alone is run with
// the race detector.
func TestARehearsalStartsNoGoroutine(t *testing.T) {
	eachFile(t, func(room, name string, _ *token.FileSet, file *ast.File) {
		if room != "sim" && room != "sim/fit" || filepath.Base(name) == "spread.go" {
			return
		}
		for _, spec := range file.Imports {
			if spec.Path.Value == `"sync"` || spec.Path.Value == `"sync/atomic"` {
				t.Errorf("%s imports %s, and is not run with the race detector", name, spec.Path.Value)
			}
		}
		ast.Inspect(file, func(n ast.Node) bool {
			if _, is := n.(*ast.GoStmt); is {
				t.Errorf("%s starts a goroutine, and is not run with the race detector", name)
			}
			return true
		})
	})
}

// within reports whether a room is the named one or below it.
func within(room, name string) bool {
	return name == "" || room == name || strings.HasPrefix(room, name+"/")
}

// eachFile calls each for every file of every room, tests left out.
func eachFile(t *testing.T, each func(room, name string, files *token.FileSet, file *ast.File)) {
	root := filepath.Join("..", "..")
	err := filepath.WalkDir(root, func(name string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if d.IsDir() && (d.Name() == "testdata" || (strings.HasPrefix(d.Name(), ".") && d.Name() != "..")) {
			return fs.SkipDir
		}
		if !strings.HasSuffix(name, ".go") || strings.HasSuffix(name, "_test.go") {
			return nil
		}
		room, err := filepath.Rel(root, filepath.Dir(name))
		if err != nil {
			return err
		}
		files := token.NewFileSet()
		file, err := parser.ParseFile(files, name, nil, 0)
		if err == nil {
			each(filepath.ToSlash(room), name, files, file)
		}
		return err
	})
	require.NoError(t, err)
}

// imports calls each for everything that the files of every room import.
func imports(t *testing.T, each func(room, path string)) {
	eachFile(t, func(room, _ string, _ *token.FileSet, file *ast.File) {
		for _, spec := range file.Imports {
			path, err := strconv.Unquote(spec.Path.Value)
			require.NoError(t, err)
			each(room, path)
		}
	})
}

func TestNoRoomReachesWhereItMustNot(t *testing.T) {
	imports(t, func(room, path string) {
		if room == "sensors/sensortest" { // a test in a room of its own, for all drivers
			return
		}
		if own, ok := strings.CutPrefix(path, module); ok {
			for _, a := range arrows {
				if within(room, a.from) && within(own, a.to) {
					t.Errorf("%s imports %s: %s", room, own, a.why)
				}
			}
			return
		}
		for other, owner := range owners {
			if within(path, other) && !slices.ContainsFunc(owner.rooms, func(r string) bool { return within(room, r) }) {
				t.Errorf("%s imports %s, which is for %s: %s", room, path, strings.Join(owner.rooms, ", "), owner.why)
			}
		}
		if strings.Contains(path, ".") && !slices.ContainsFunc(slices.Collect(maps.Keys(owners)), func(other string) bool { return within(path, other) }) {
			t.Errorf("%s imports %s, which no room owns: say in rooms_test.go which rooms may, and why", room, path)
		}
	})
}

// TestTheBoardHasNoDatabaseServer looks at all that is linked into the board's program, however
// it comes there.
func TestTheBoardHasNoDatabaseServer(t *testing.T) {
	all := golist(t, nil, "list", "-deps", ".")
	require.Contains(t, all, "fumarium/controller/courier")
	for _, path := range all {
		if strings.HasPrefix(path, "github.com/jackc/") || within(strings.TrimPrefix(path, module), "cmd/fumarium-hub") {
			t.Errorf("cmd/fumarium links %s: that is the hub's", path)
		}
	}
}

// TestEveryRoomIsKnown makes a new folder of Go files say what it is.
func TestEveryRoomIsKnown(t *testing.T) {
	shells := []string{ // rooms with a clock, I/O, goroutines or randomness
		"cmd/fumarium", "cmd/fumarium/internal/album", "cmd/fumarium/internal/daybook", "cmd/fumarium/internal/bootclock", "cmd/fumarium/internal/checkup", "cmd/fumarium/internal/front", "cmd/fumarium/internal/notice", "cmd/fumarium/internal/opened", "cmd/fumarium/internal/own", "cmd/fumarium/internal/service", "cmd/fumarium/internal/wiring", "controller/access", "controller/access/certificate", "controller/courier", "controller/relay", "controller/loop", "controller/metrics", "controller/web", "controller/record", "controller/report/recorded", "sim/recordtest", "sim/postgrestest", "sim",
		"cmd/fumarium-hub", "cmd/fumarium-hub/internal/store", "cmd/fumarium-hub/internal/desk", "cmd/fumarium-mqtt", "cmd/fumarium-mqtt/internal/line", "cmd/fumarium-mqtt/internal/watch", "sim/bench", "sim/chips", "sim/fault", "sim/forecast", "sim/fit", "sim/foreign", "sim/campaign",
		"sensors/max31855", "sensors/max31856", "sensors/max6675", "sensors/mcp9600", "sensors/ads1115", "sensors/ds18b20", "sensors/roomair", "sensors/sensortest",
	}
	eachFile(t, func(room, _ string, _ *token.FileSet, _ *ast.File) {
		if _, pure := pureRooms[room]; !pure && !slices.Contains(shells, room) {
			t.Errorf("room %s is on neither list of rooms_test.go", room)
		}
	})
}

// What a reader can keep in mind at once: lines of a file, and ways through a function.
// Outside of the core, which decides, only the lines are counted.
const (
	mostLines = 500
	mostWays  = 25
)

var core = []string{"controller", "profile", "sensors", "sim/plant"}

// shownRooms are rooms below the core's that decide nothing: they draw, tell and keep.
var shownRooms = []string{"controller/chart", "controller/label", "controller/layout", "controller/report", "controller/metrics", "controller/web", "controller/record", "controller/loop", "controller/relay"}

func TestFilesAndFunctionsCanBeRead(t *testing.T) {
	eachFile(t, func(room, name string, files *token.FileSet, file *ast.File) {
		if lines := files.Position(file.End()).Line; lines > mostLines {
			t.Errorf("%s has %d lines: split it where it holds two ideas", name, lines)
		}
		in := func(list []string) bool {
			return slices.ContainsFunc(list, func(r string) bool { return within(room, r) })
		}
		if !in(core) || in(shownRooms) {
			return
		}
		for _, decl := range file.Decls {
			if f, ok := decl.(*ast.FuncDecl); ok && ways(f) > mostWays {
				t.Errorf("%s: %s has %d ways through it: give its parts names", files.Position(f.Pos()), f.Name.Name, ways(f))
			}
		}
	})
}

// ways is one and one more for each place where a function branches.
func ways(f *ast.FuncDecl) int {
	n := 1
	ast.Inspect(f, func(node ast.Node) bool {
		switch node := node.(type) {
		case *ast.IfStmt, *ast.ForStmt, *ast.RangeStmt:
			n++
		case *ast.CaseClause:
			if node.List != nil {
				n++
			}
		case *ast.BinaryExpr:
			if node.Op == token.LAND || node.Op == token.LOR {
				n++
			}
		}
		return true
	})
	return n
}
