// Package record keeps what happened to a batch: every input and output of every
// step, the events, commands and notes, the product and cabinet files as used. It
// writes them to one SQLite file for each world, chained by hashes so that a change
// after the fact shows, and reads them back: to look at, to verify, to replay, and
// to go on after a power cut.
//
// The control loop never waits for a disk. Steps go into memory and a goroutine of
// the Recorder commits them: every ten seconds, and at once when something happens.
// Health says whether that works. When it does not, steps wait in memory for many
// hours; should even that run out, a gap says what is missing, and nothing is
// invented for it.
//
// The state of the controller is not stored step by step: it follows from the inputs,
// because the step is a pure function. Its hash is, so that a difference shows.
//
// The package decides nothing about heat, deletes nothing and changes nothing that
// is written. FORMAT.md describes the file, and what its chain does not prove.
package record
