package trip

import "strings"

// Parts is what a cabinet has that an alarm may speak of: a bit for each. Zero is the
// simplest cabinet, with a heater and one chamber probe.
type Parts uint16

// The parts. Records hold their bits.
const (
	ChamberPair  Parts = 1 << iota // two chamber probes
	CoreProbe                      // one at the least
	MoreCores                      // two at the least
	WetBulb                        // a wet bulb and its wick
	RoomProbe                      // a probe in the room
	EmberProbe                     // a probe in the wood of the smoke generator
	SmokePump                      // a smoke generator whose pump it switches
	DoorSwitch                     // a switch on the door
	HeatFeedback                   // a contact that sees the element's voltage
	Display                        // at the cabinet
	Buttons                        // at the cabinet
	Moistens                       // a humidifier that it switches
	DrivenDamper                   // a damper that it drives
	Cooled                         // a cooler that it switches
)

var partText = [...]string{
	"two chamber probes", "a core probe", "a second core probe", "a wet bulb", "a probe in the room", "an ember probe",
	"a smoke generator", "a door switch", "a heater feedback", "a display", "a button", "a humidifier", "a driven damper", "a cooler",
}

// String lists the parts.
func (p Parts) String() string {
	var names []string
	for i, name := range partText {
		if p>>i&1 != 0 {
			names = append(names, name)
		}
	}
	return strings.Join(names, " and ")
}

// Advice is what to do only in a cabinet that has all of With and nothing of Without.
type Advice struct {
	With, Without Parts
	Text          string
}

func (a *Advice) fits(here Parts) bool { return here&a.With == a.With && here&a.Without == 0 }

// Do is what the person shall do about the alarm in a cabinet with these parts.
func (e Entry) Do(here Parts) string {
	words := []string{e.Action}
	for i := range e.More {
		if a := &e.More[i]; a.fits(here) {
			words = append(words, a.Text)
		}
	}
	return strings.Join(words, " ")
}

// DoAnywhere is the same for papers that belong to no cabinet: each advice says where it
// holds.
func (e Entry) DoAnywhere() string {
	words := []string{e.Action}
	for i := range e.More {
		a := &e.More[i]
		where := "With " + a.With.String()
		switch {
		case a.With == 0:
			where = "Without " + a.Without.String()
		case a.Without != 0:
			where += " and without " + a.Without.String()
		}
		words = append(words, where+": "+a.Text)
	}
	return strings.Join(words, " ")
}

// Says is what a person may claim of the alarm in a cabinet with these parts, or empty.
func (e Entry) Says(here Parts) string {
	if here&e.MendedWith != e.MendedWith {
		return ""
	}
	return e.Mended
}

// Arises reports whether a cabinet with these parts can have the alarm at all.
func (e Entry) Arises(here Parts) bool { return here&e.Needs == e.Needs }
