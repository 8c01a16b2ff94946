package campaign

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"time"

	"fumarium/controller"
	"fumarium/profile/quantity"
	"fumarium/sim"
)

// Bending is a bit of a seed. With it, the batch of the seed without it is run again with
// someone who changes its stages while they run, sensibly or not.
const Bending uint64 = 1 << 42

// BentHeatEnds is a rule for batches in which somebody changes stages, and holds for all.
const BentHeatEnds Rule = "no stage heats for longer without a person's word than its file gives it"

// bendEvery is how often on average; common practice, no source: far more often than anyone
// would.
const bendEvery = 45 * time.Minute

// bend adds to a setup who changes its stages.
func bend(setup *sim.Setup, seed uint64) {
	b := &bender{draws: draws{rand.New(rand.NewPCG(seed, 0x62656e646572))}, heat: float64(setup.Cabinet.Limits.ChamberHigh)}
	b.wait(0)
	setup.Operator = b
}

// A bender gives the orders of one batch. It remembers what it ordered.
type bender struct {
	draws
	heat float64 // limit of the chamber
	next time.Duration
	said []order
}

func (b *bender) wait(now time.Duration) {
	b.next = now + time.Duration(b.ExpFloat64()*float64(bendEvery))
}

// String says all that was changed.
func (b *bender) String() string {
	words := []string{"stages bent"}
	for _, said := range b.said {
		words = append(words, fmt.Sprintf("%s %s", said, said.command.Bend))
	}
	return strings.Join(words, ", ")
}

// Order implements sim.Operator.
func (b *bender) Order(now time.Duration, s *controller.State) (controller.Command, bool) {
	if now < b.next || !s.Batch.Active() {
		return controller.Command{}, false
	}
	b.wait(now)
	c := controller.Command{Kind: controller.Adjust, Question: s.StageName(), Excused: b.IntN(20) > 0}
	switch b.IntN(12) {
	case 0:
		c.Kind = controller.Skip
	case 1:
		c.Kind = controller.EndCooking
	case 2: // of a stage that is over, or of none
		c.Question.Stage += b.IntN(5) - 2
		c.Bend = b.change()
	default:
		c.Bend = b.change()
	}
	b.said = append(b.said, order{now, c})
	return c, true
}

// change is any change, now and then one that nobody could mean.
func (b *bender) change() controller.Bend {
	c := controller.Bend{Parts: controller.BentParts(1 << b.IntN(4))}
	if b.IntN(4) == 0 {
		c.Parts = controller.BentParts(b.IntN(32))
	}
	c.Chamber, c.Core = quantity.Celsius(b.between(-5, b.heat+10)), quantity.Celsius(b.between(-5, 105))
	c.Time = time.Duration(b.log(30, 4*24*3600)) * time.Second
	c.Smoke = quantity.Ratio(b.between(0, 1.2))
	switch b.IntN(10) {
	case 0:
		c.Smoke = 0
	case 1:
		c.Chamber, c.Core, c.Smoke = quantity.Celsius(math.NaN()), quantity.Celsius(math.Inf(1)), quantity.Ratio(math.NaN())
	case 2:
		c.Time = -c.Time
	}
	return c
}

// stageHeats counts for how long the stage under way has been given heat without a word:
// from its beginning, or from the last restart, as a clock beside the controller has it.
func (j *judge) stageHeats(m *sim.Moment) {
	s := m.After
	if s.Stage != j.heatStage || m.Inputs.Command.Kind == controller.Restart {
		j.heatStage, j.heated = s.Stage, 0
	}
	if s.Batch != controller.Running || s.Asking {
		return
	}
	stage := &j.setup.Product.Stages[s.Stage]
	if _, asked := s.Question(); asked || !stage.Heat {
		return
	}
	if j.heated += sim.Step; s.Out.On.Has(controller.Heater) && j.heated > j.machine.HeatEnds(s.Stage)+time.Minute {
		j.breaks(BentHeatEnds, m.Now, "stage %s heats after %s, and its file gives it %s", stage.Name, j.heated, j.machine.HeatEnds(s.Stage))
	}
}
