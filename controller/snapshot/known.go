package snapshot

import (
	"cmp"
	"slices"
	"strings"
	"time"

	"fumarium/controller"
	"fumarium/controller/cabinet"
	"fumarium/controller/trip"
	"fumarium/profile/lethality"
	"fumarium/profile/proof"
	"fumarium/sensors"
)

// A Probe is one probe of the cabinet with its latest reading.
type Probe struct {
	Name    string
	Role    cabinet.Role
	Reading sensors.Reading
}

// Probes pairs the cabinet's probes with their readings, in the cabinet's order:
// the n-th probe of a role is the n-th input of that role. A probe without an
// input of its own is unread.
func (s *Snapshot) Probes() []Probe {
	if s.Cabinet == nil {
		return nil
	}
	inputs := map[cabinet.Role][]sensors.Reading{
		cabinet.ChamberProbe: s.Inputs.Chamber[:],
		cabinet.CoreProbe:    s.Inputs.Core[:],
		cabinet.WetBulbProbe: {s.Inputs.WetBulb},
		cabinet.AmbientProbe: {s.Inputs.Ambient},
		cabinet.EmberProbe:   {s.Inputs.Ember},
	}
	probes := make([]Probe, len(s.Cabinet.Probes))
	for i, p := range s.Cabinet.Probes {
		probes[i] = Probe{Name: p.Name, Role: p.Role}
		if left := inputs[p.Role]; len(left) > 0 {
			probes[i].Reading, inputs[p.Role] = left[0], left[1:]
		}
	}
	return probes
}

// LethalityLog10 is the log reduction counted so far as it may be shown, whether
// that is less than what was counted, and not known when the species has no criterion
// that is counted, or when no core was ever read: that is not a count of zero.
func (s *Snapshot) LethalityLog10() (log10 float64, capped, known bool) {
	counted, ok := s.State.LethalityLog10(s.Product)
	log10, capped = lethality.Shown(counted)
	return log10, capped, ok && (counted > 0 || s.coreRead())
}

// ComeUp is the come-up time so far, and false before a batch or when no core was
// ever read.
func (s *Snapshot) ComeUp() (time.Duration, bool) {
	return s.State.ComeUp.Time, s.State.ComeUp.Begun && s.State.Batch != controller.Idle
}

// Verdict is what can be said of the batch by now, and false before one.
func (s *Snapshot) Verdict() (proof.Verdict, bool) {
	if s.Product == nil || s.State.Batch == controller.Idle || s.State.Learns {
		return proof.Verdict{}, false
	}
	made := s.Product
	if s.Weighed != nil {
		made = s.Weighed.Product
	}
	rules := s.State.Rules(s.Product).MadeAs(made)
	v := s.State.Verdict(&rules, !s.State.Batch.Active())
	s.Weighed.Amend(&v)
	return v, true
}

// Ending is what can be said of the last batch once it is over: whether it ended as a maker
// wants it, and in words; false before a batch and while one is under way.
func (s *Snapshot) Ending() (good bool, text string, known bool) {
	if s.State.Batch.Active() {
		return false, "", false
	}
	v, ok := s.Verdict()
	if !ok {
		return false, "", false
	}
	good, text = Ending(s.State.Batch, &v)
	return good, text, true
}

// Ending says how a batch ended. Good is one that completed and lacks nothing; which rules
// are met, and which nobody has shown, is said with it.
func Ending(state controller.BatchState, v *proof.Verdict) (good bool, text string) {
	lacks := v.Lacks()
	switch {
	case state == controller.Complete && len(lacks) == 0:
		text = state.String() + ", and nothing is known against it"
		if met := v.Answering(proof.Met); len(met) > 0 {
			text = state.String() + " and good: met are " + strings.Join(met, ", ")
		}
		if unshown := v.Answering(proof.NotShown); len(unshown) > 0 {
			text += "; not shown are " + strings.Join(unshown, ", ")
		}
		return true, text + "; an aid, no release of food"
	case len(lacks) == 0:
		return false, state.String() + ", not good: it was not brought to its end"
	}
	return false, state.String() + ", not good: " + strings.Join(lacks, "; ")
}

func (s *Snapshot) coreRead() bool { return s.State.Core.Coldest.Status() == sensors.Good }

// Pressing lists the alarms that are not normal: by priority, then those nobody
// has acknowledged, then the latest first.
func (s *Snapshot) Pressing() []trip.Code {
	st := &s.State
	var codes []trip.Code
	for c := trip.None + 1; c < trip.Count; c++ {
		if st.Alarms[c].Phase != trip.Normal {
			codes = append(codes, c)
		}
	}
	slices.SortStableFunc(codes, func(a, b trip.Code) int {
		return cmp.Or(
			cmp.Compare(a.Entry().Priority, b.Entry().Priority),
			cmp.Compare(st.Alarms[a].Phase, st.Alarms[b].Phase),
			cmp.Compare(st.Alarms[b].Raised, st.Alarms[a].Raised),
		)
	})
	return codes
}
