package deviation

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/profile/proof"
)

// What is not cooking has steps of its own; a toxin outlives what made it (FSIS Cooking
// Guideline 2021, pp. 66-80).
func TestWhatIsNotCookingHasSteps(t *testing.T) {
	for _, c := range []struct {
		rule proof.Rule
		fish bool
		want string
	}{
		{proof.Process, false, "toxins of Staphylococcus aureus, A to E"}, {proof.Process, true, "hot-smoked fish"},
		{proof.Killed, false, "5.0 log10 of Salmonella"}, {proof.RawFish, true, "-35 °C until solid and then -20 °C for 24 h"},
		{proof.Keeping, true, "3.3 °C (38 °F)"}, {proof.Keeping, false, "0.85 in air, 0.91 without"},
	} {
		b := Batch{Fish: c.fish}
		for r := range b.Verdict {
			b.Verdict[r].Answer = proof.DoesNotApply
		}
		b.Verdict[c.rule] = proof.Judgement{Answer: proof.NotShown, Why: "nobody looked"}
		sheet := Work(b)
		require.Len(t, sheet, 1)
		assert.Contains(t, sheet.Text(), c.want, c.rule.String())
		assert.NotContains(t, sheet.Text(), "may take anything else for it", "it has a text of its own")
	}
}
