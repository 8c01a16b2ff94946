package controller

import (
	"time"

	"fumarium/controller/trip"
)

// How sounder and light call. By what stands they differ in rhythm, so that one knows from
// afar whether to run: own choice, no source but that what is urgent is without a pause to
// the ear and flashes to the eye (as IEC 60073 has it, recalled from memory).
const (
	soonSounds, soonEvery     = 2 * time.Second, 6 * time.Second
	promptSounds, promptEvery = 10 * time.Second, time.Minute
	nowFlashes                = 2 * time.Second // half of it lit
	soonFlashes               = 4 * time.Second // a quarter of it dark
)

// more is the more pressing of two priorities.
func more(a, b trip.Priority) trip.Priority {
	if a == 0 || b != 0 && b < a {
		return b
	}
	return a
}

// call sets what calls the person. The sounder is for what nobody has answered: without a
// pause for now, for soon likewise, or two seconds in six where the cabinet's sounder has rhythm; ten seconds in every minute for a hand step
// that waits; what may wait till later is silent. The light shows all of it: it flashes
// fast for now and slowly for soon while nobody has answered, and is lit as long as any
// alarm stands or a hand step waits.
func (t *step) call(out *Outputs) {
	asked := t.s.asks(t.stage())
	now := t.in.Elapsed
	sound, lit := false, t.pressing || asked
	switch {
	case t.calling == trip.Now:
		sound, lit = true, now%nowFlashes < nowFlashes/2
	case t.calling == trip.Soon:
		sound, lit = !t.m.cabinet.SounderRhythm || now%soonEvery < soonSounds, now%soonFlashes < soonFlashes*3/4
	case asked:
		waited := now - t.s.Alarms[trip.PromptWaiting].Since
		sound = waited%promptEvery < promptSounds
	}
	if t.calling == trip.Later {
		lit = true
	}
	out.On.Set(Sounder, sound && t.m.cabinet.Sounder.Fitted)
	out.On.Set(Light, lit && t.m.cabinet.Light.Fitted)
}
