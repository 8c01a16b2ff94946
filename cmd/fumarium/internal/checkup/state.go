package checkup

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"golang.org/x/sys/unix"

	"fumarium/cmd/fumarium/internal/wiring"
	"fumarium/controller/record"
)

// enough is the room that a batch shall find, in bytes: a day and a half of writing, and
// as much again for whatever else is on the card; an own magnitude.
const enough = 400 << 20

// remote are file systems on which a record cannot be kept; linux/magic.h, from memory.
var remote = map[int64]string{0x6969: "NFS", 0xFF534D42: "CIFS", 0xFE534D42: "SMB"}

// Room is what a file system says of itself.
type Room struct {
	Free     uint64
	ReadOnly bool
	Kind     int64
}

// RoomOf asks the file system that holds a folder.
func RoomOf(dir string) (Room, error) {
	var s unix.Statfs_t
	if err := unix.Statfs(dir, &s); err != nil {
		return Room{}, err
	}
	return Room{s.Bavail * uint64(s.Bsize), s.Flags&unix.ST_RDONLY != 0, int64(s.Type)}, nil //nolint:unconvert // the fields differ between boards
}

// Folder says whether the state can be kept.
func Folder(dir string, room func(string) (Room, error)) []wiring.Find {
	f := wiring.Find{What: "state folder", Note: dir}
	info, err := os.Stat(dir)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		f.Note += " is not there; the service makes it, or name another with --state"
		return []wiring.Find{f}
	case err != nil:
		f.Note = err.Error() + "; run this as root"
		return []wiring.Find{f}
	case !info.IsDir():
		f.Note += " is no folder; move that file away"
		return []wiring.Find{f}
	case info.Mode().Perm()&0o077 != 0:
		f.Note += fmt.Sprintf(" is open to others (mode %04o), and the operator's token lies in it; sudo chmod 700 %s", info.Mode().Perm(), dir)
	default:
		f.Good, f.Note = true, dir+" is the daemon's alone"
	}
	card := wiring.Find{What: "card"}
	switch r, err := room(dir); {
	case err != nil:
		card.Note = err.Error()
	case r.ReadOnly:
		card.Note = "the file system is read-only, as after an error of the card; copy the state folder away, look into dmesg, and exchange the card"
	case remote[r.Kind] != "":
		card.Note = "the file system is " + remote[r.Kind] + ", over which a record cannot be kept; move the state to a local disk"
	case r.Free < enough:
		card.Note = fmt.Sprintf("%d MB are free, and a batch shall find %d; without room nothing heats: delete or move something", r.Free>>20, int64(enough)>>20)
	default:
		card.Good, card.Note = true, fmt.Sprintf("%d MB are free", r.Free>>20)
	}
	return []wiring.Find{f, card}
}

// Records checks the chain of every batch, and how the last one ended. running says that
// a daemon is at work on the folder.
func Records(ctx context.Context, dir string, running bool) []wiring.Find {
	found := []wiring.Find{}
	for _, world := range []record.World{record.Real, record.Simulated} {
		file := filepath.Join(dir, world.File())
		if _, err := os.Stat(file); errors.Is(err, fs.ErrNotExist) {
			continue
		}
		found = append(found, chains(ctx, file, running)...)
		if info, err := os.Stat(file + "-wal"); err == nil && info.Size() > 0 && !running {
			found = append(found, wiring.Find{What: world.File() + ", its end", Note: "the program did not end in order; start the daemon, which checks the file: sudo systemctl start fumarium"})
		}
	}
	if len(found) == 0 {
		found = append(found, wiring.Find{What: "records", Good: true, Note: "no batch was recorded yet"})
	}
	aside, _ := filepath.Glob(filepath.Join(dir, "batches*-damaged-*.db"))
	for _, name := range aside {
		found = append(found, wiring.Find{What: filepath.Base(name), Note: "a record that was damaged and set aside; copy it away, read what is left of it (fumarium batches takes a folder with it under its old name), then move it out of the folder"})
	}
	return found
}

func chains(ctx context.Context, file string, running bool) []wiring.Find {
	name := filepath.Base(file)
	r, err := record.OpenReader(file)
	if err != nil {
		return []wiring.Find{{What: name, Note: err.Error()}}
	}
	defer r.Close()
	all, err := r.List(ctx)
	if err != nil {
		return []wiring.Find{{What: name, Note: err.Error() + "; copy the file away with its -wal and -shm, then see what fumarium batches can read"}}
	}
	found := []wiring.Find{{What: name, Good: true, Note: fmt.Sprintf("%d batches, every chain whole", len(all))}}
	for _, b := range all {
		v, err := r.Verify(ctx, b.ID)
		if err == nil && !v.Whole {
			err = errors.New(v.String())
		}
		if err != nil {
			found[0].Good, found[0].Note = false, fmt.Sprintf("%d batches", len(all))
			found = append(found, wiring.Find{What: "batch " + b.ID, Note: err.Error() + "; it proves nothing from there on: compare with your copy, and keep both"})
		}
	}
	if !found[0].Good {
		found[0].Note += ", not every chain whole"
	}
	if len(all) == 0 {
		return found
	}
	last := all[0]
	gaps, err := r.Gaps(ctx, last.ID)
	switch {
	case err != nil:
		found = append(found, wiring.Find{What: "batch " + last.ID, Note: err.Error()})
	case last.State == "" && !running:
		found = append(found, wiring.Find{What: "batch " + last.ID, Note: "it was under way when the program ended; start the daemon, which goes on with it or closes it: sudo systemctl start fumarium"})
	case len(gaps) > 0:
		found = append(found, wiring.Find{What: "batch " + last.ID, Note: fmt.Sprintf("the program was away %d times while it ran; look for why: journalctl -u fumarium, and the board's supply", len(gaps))})
	default:
		found = append(found, wiring.Find{What: "batch " + last.ID, Good: true, Note: "the last one, without a gap"})
	}
	return found
}
