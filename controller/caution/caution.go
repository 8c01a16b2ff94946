// Package caution holds the cautions that several places have to give in the same
// words: command line, page, findings, and the papers in deploy, which a test holds to
// it. They are the usual ones of the trade (common practice, no source) and replace
// neither the local code nor anybody's licence. Lines are short enough for a terminal.
package caution

import "strings"

// What a person must know before or after a command.
const (
	// Smoulders goes with everything that takes smoke away: hold, stop, abort, off.
	Smoulders = `A smoke generator that was lit smoulders on without its pump, and gives off
carbon monoxide, which nobody can smell. Put it out, or carry it outdoors onto
something that cannot burn, and let fresh air in.`

	// HeatReturns goes with restart.
	HeatReturns = `Heat comes back: hands and tools out, door shut, nobody at the wiring.`

	// BeforeReset goes with reset.
	BeforeReset = `Not before the cause is found and gone. If heat came while the heater was off,
cut the mains first, and leave them cut until someone qualified has found and
mended the cause: no program can open a welded relay.`

	// Food goes with everything that can be read as a word on the safety of food.
	Food = `What is said here about food is an aid. A process authority and the local
inspector decide about food for others; when in doubt, throw it out.`

	// NoFault goes with a check that found nothing.
	NoFault = `That is no proof of safety. A file was read; no wire, cut-out, flue or meat was
looked at. Mains wiring is judged by someone qualified under the local code, food
by a process authority and the local inspector.`
)

// What may be burned and what a chamber may be made of.
const (
	Wood = `Smoke with clean, dry, untreated wood of broad-leaved trees. Treated, painted,
glued or mouldy wood gives poisonous smoke, resinous wood tar and soot.`

	Metal = `No galvanized or painted metal inside a hot chamber: its coating gives off fumes
and goes into the food with the acid of the smoke.`

	Refrigerator = `The body of a refrigerator: its refrigerant is taken out by someone licensed for
it before anything is cut or bent; it may burn, and the law may forbid to let it
out. Plastic liners and the foam in the walls give off poisonous gas when they get
hot: take the plastic out, keep the heat away from the foam, and replace a latch
that cannot be opened from inside.`
)

// BeforeHeat is what a person reads before anything gets hot.
var BeforeHeat = []string{
	`Wiring for mains voltage is done by someone qualified, under the code that holds
where you are.`,
	`A thermal cut-out of its own sits in the heater circuit and works without this
computer. It protects you first; this program comes second.`,
	`A relay can weld shut and leave the heater on. Know where you cut the mains by
hand.`,
	`Smoke and fire gas kill, and carbon monoxide has no smell. Keep the cabinet
outdoors or its flue free.`,
	`An extinguisher is within reach, and nobody walks away from a generator that
burns.`,
	Wood,
	Metal,
	Food,
}

// Marked sets a mark before the text and indents its other lines: as an item of a
// list, or as a comment.
func Marked(first, others, text string) string {
	return first + strings.ReplaceAll(text, "\n", "\n"+others)
}
