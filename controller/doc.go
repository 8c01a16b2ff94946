// Package controller is the machine that runs a batch. New works out what follows from a
// product in a cabinet; Step takes the state, what was read, and at most one command, and
// gives the next state, the outputs and what happened. It has no clock, no I/O, no
// goroutine, no randomness and no log, so that the daemon, the rehearsal and a replay run
// the same code and must get the same answer.
//
// # One step
//
// The order is always this, and each part sees what those before it have found:
//
//	time      how long it was since the last step; too long means that nobody watched
//	follow    the memories take the readings in: chamber, core, wick, heater, smoke,
//	          heat time, balance, evidence
//	command   what the person wants, or why not
//	alarms    every condition of the catalogue; a trip or the end of the heat holds the batch
//	batch     the stage under way moves on, or ends
//	prove     heat, come-up and chilling are counted
//	drive     what is on from now until the next step
//
// # What it remembers
//
// State is all of it: a value without pointers, compared with == and recorded whole under
// names of its own. Nine memories are part of it, each in a file with its follow and the
// set of alarms that stand because of it:
//
//	chamber   which probes are believed, and what the chamber is
//	core      one for each probe: is it in the meat, and where does it go
//	heater    what is wanted of it, less while a damper is to be closed, and what the chamber did in answer
//	smoke     the air that the generator was given
//	wick      humidity, and whether the wick is wet
//	air       how damper and cooler stand, and how moist and how warm that leaves it
//	heat time for how long it has heated without a person's word
//	balance   what the heat and the cores say of the air, against what the probe reads
//	evidence  what the probes have shown of themselves, before a batch and in ice water
//
// # Whatever it is not sure of turns the heater off
//
// A missing chamber reading, a call that comes late, a door that is open or cannot be
// read, a chamber at the cabinet's limit, a state that the product cannot have: in each of
// them the heater is off in the same step. What trips keeps it off until the cause is gone
// and a person has reset it. An unread probe is a status, never a number.
//
// # What the caller owes it
//
// One step a second, with Elapsed from a clock that never goes back. Of the outputs every
// off at once, then the record, then every on; should an output fail, DriveFailed in the
// next step. The texts of events are for people; decide by their kinds.
package controller
