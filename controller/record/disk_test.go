package record

import (
	"math/rand/v2"
	"os"
	"path/filepath"
	"sync"
	"testing"
	"unsafe"

	"github.com/stretchr/testify/require"
	"modernc.org/libc"
	sqlite3 "modernc.org/sqlite/lib"
)

// A disk lies between SQLite and the file system: it keeps a log of every write,
// sync, truncation and deletion, and can make any of them fail. From the log it
// builds what a power cut may leave: what was synced is there, of the rest any part
// in any order, and the last write torn.
type disk struct {
	mu  sync.Mutex
	log []operation
	// fail decides what becomes of operation n, which has not been made yet: an SQLite
	// error code or 0. half of a failing write is written first.
	fail func(n int, op operation) int32
	n    int
}

type operation struct {
	kind  operationKind
	file  string
	at    int64 // offset, or new size
	data  []byte
	steps int64 // for acknowledged
}

type operationKind int

const (
	writes operationKind = iota
	truncates
	syncs
	deletes
	acknowledged // not an operation: the recorder reported so many steps on disk
)

// The one VFS of this test binary, and the disk that its operations go to.
const faultVFS = "fumarium-fault"

var (
	registerOnce sync.Once
	diskLock     sync.Mutex
	theDisk      *disk
	shim         struct {
		under   uintptr // the VFS below
		methods map[uintptr]uintptr
		files   map[uintptr]string
	}
)

// at gives the Go view of what SQLite has at an address of its own memory.
func at[T any](p uintptr) *T { return *(**T)(unsafe.Pointer(&p)) }

// call gives the function that a pointer of SQLite's points to, and pointer the
// reverse.
func call[F any](p uintptr) F {
	box := struct{ p uintptr }{p}
	return *(*F)(unsafe.Pointer(&box))
}

func pointer[F any](f F) uintptr {
	keep = append(keep, f)
	return *(*uintptr)(unsafe.Pointer(&f))
}

// keep holds what SQLite points to and the collector cannot see.
var keep []any

type (
	openFunc     = func(*libc.TLS, uintptr, uintptr, uintptr, int32, uintptr) int32
	deleteFunc   = func(*libc.TLS, uintptr, uintptr, int32) int32
	writeFunc    = func(*libc.TLS, uintptr, uintptr, int32, int64) int32
	truncateFunc = func(*libc.TLS, uintptr, int64) int32
	syncFunc     = func(*libc.TLS, uintptr, int32) int32
)

// newDisk puts a disk under every file that is opened through faultVFS from now on,
// until the test ends.
func newDisk(t testing.TB) *disk {
	registerOnce.Do(registerFaultVFS)
	d := &disk{}
	diskLock.Lock()
	theDisk = d
	diskLock.Unlock()
	return d
}

func current() *disk {
	diskLock.Lock()
	defer diskLock.Unlock()
	return theDisk
}

func registerFaultVFS() {
	tls := libc.NewTLS()
	shim.methods, shim.files = map[uintptr]uintptr{}, map[uintptr]string{}
	shim.under = sqlite3.Xsqlite3_vfs_find(tls, 0)
	v := libc.Xmalloc(tls, libc.Tsize_t(unsafe.Sizeof(sqlite3.Tsqlite3_vfs{})))
	*at[sqlite3.Tsqlite3_vfs](v) = *at[sqlite3.Tsqlite3_vfs](shim.under)
	own := at[sqlite3.Tsqlite3_vfs](v)
	name, err := libc.CString(faultVFS)
	if err != nil {
		panic(err)
	}
	own.FzName, own.FpNext = name, 0
	own.FxOpen, own.FxDelete = pointer[openFunc](shimOpen), pointer[deleteFunc](shimDelete)
	if rc := sqlite3.Xsqlite3_vfs_register(tls, v, 0); rc != sqlite3.SQLITE_OK {
		panic(rc)
	}
}

func under() *sqlite3.Tsqlite3_vfs { return at[sqlite3.Tsqlite3_vfs](shim.under) }

func shimOpen(tls *libc.TLS, vfs, name, file uintptr, flags int32, out uintptr) int32 {
	rc := call[openFunc](under().FxOpen)(tls, shim.under, name, file, flags, out)
	methods := at[uintptr](file)
	if *methods == 0 {
		return rc
	}
	diskLock.Lock()
	defer diskLock.Unlock()
	if name != 0 {
		shim.files[file] = filepath.Base(libc.GoString(name))
	}
	if shim.methods[*methods] == 0 {
		m := libc.Xmalloc(tls, libc.Tsize_t(unsafe.Sizeof(sqlite3.Tsqlite3_io_methods{})))
		own := at[sqlite3.Tsqlite3_io_methods](m)
		*own = *at[sqlite3.Tsqlite3_io_methods](*methods)
		below := *own
		own.FxWrite = pointer[writeFunc](func(tls *libc.TLS, f, data uintptr, n int32, offset int64) int32 {
			bytes := append([]byte(nil), unsafe.Slice(at[byte](data), n)...)
			rc := current().operate(operation{kind: writes, file: fileName(f), at: offset, data: bytes})
			if rc != 0 {
				call[writeFunc](below.FxWrite)(tls, f, data, n/2, offset)
				return rc
			}
			return call[writeFunc](below.FxWrite)(tls, f, data, n, offset)
		})
		own.FxTruncate = pointer[truncateFunc](func(tls *libc.TLS, f uintptr, size int64) int32 {
			if rc := current().operate(operation{kind: truncates, file: fileName(f), at: size}); rc != 0 {
				return rc
			}
			return call[truncateFunc](below.FxTruncate)(tls, f, size)
		})
		own.FxSync = pointer[syncFunc](func(tls *libc.TLS, f uintptr, flags int32) int32 {
			if rc := current().operate(operation{kind: syncs, file: fileName(f)}); rc != 0 {
				return rc
			}
			return sqlite3.SQLITE_OK // the log knows what is safe; the real disk is spared
		})
		shim.methods[*methods] = m
	}
	*methods = shim.methods[*methods]
	return rc
}

func shimDelete(tls *libc.TLS, vfs, name uintptr, dirSync int32) int32 {
	if rc := current().operate(operation{kind: deletes, file: filepath.Base(libc.GoString(name))}); rc != 0 {
		return rc
	}
	return call[deleteFunc](under().FxDelete)(tls, shim.under, name, dirSync)
}

func fileName(f uintptr) string {
	diskLock.Lock()
	defer diskLock.Unlock()
	return shim.files[f]
}

func (d *disk) operate(op operation) int32 {
	d.mu.Lock()
	defer d.mu.Unlock()
	n := d.n
	d.n++
	if d.fail != nil {
		if rc := d.fail(n, op); rc != 0 {
			if op.kind == writes {
				op.data = op.data[:len(op.data)/2]
				d.log = append(d.log, op)
			}
			return rc
		}
	}
	d.log = append(d.log, op)
	return 0
}

// acknowledge notes in the log what the recorder says is safe.
func (d *disk) acknowledge(steps int64) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.log = append(d.log, operation{kind: acknowledged, steps: steps})
}

// image is what a power cut leaves of the files.
type image map[string][]byte

func (m image) apply(op operation) {
	switch op.kind {
	case writes:
		b := m[op.file]
		if end := op.at + int64(len(op.data)); int64(len(b)) < end {
			b = append(b, make([]byte, end-int64(len(b)))...)
		}
		copy(b[op.at:], op.data)
		m[op.file] = b
	case truncates:
		b := m[op.file]
		for int64(len(b)) < op.at {
			b = append(b, 0)
		}
		m[op.file] = b[:op.at]
	case deletes:
		delete(m, op.file)
	}
}

// crash plays the log up to operation n. Of the operations since the last sync of
// their file, whole keeps all; without it, random keeps some, in their order, and
// tears one. It returns the files and the steps that the recorder had reported safe.
func (d *disk) crash(n int, whole bool, random *rand.Rand) (image, int64) {
	lastSync := map[string]int{}
	for i, op := range d.log[:n] {
		if op.kind == syncs || op.kind == deletes {
			lastSync[op.file] = i
		}
	}
	m := image{}
	safe := int64(0)
	torn := false
	for i, op := range d.log[:n] {
		if op.kind == acknowledged {
			safe = op.steps
			continue
		}
		if whole || i <= lastSync[op.file] {
			m.apply(op)
			continue
		}
		switch {
		case random.IntN(3) == 0: // lost
		case op.kind == writes && !torn && random.IntN(3) == 0:
			torn = true
			op.data = op.data[:random.IntN(len(op.data)+1)]
			m.apply(op)
		default:
			m.apply(op)
		}
	}
	return m, safe
}

func (m image) write(t testing.TB, dir string) {
	t.Helper()
	for name, data := range m {
		require.NoError(t, os.WriteFile(filepath.Join(dir, name), data, 0o600))
	}
}
