package profile

import "fumarium/profile/source"

// refuseUneaten refuses a file whose product is served hot, and of which nobody would say
// that it was eaten; and one that asks for it to no end.
func (p *Product) refuseUneaten(targets *source.Map, stages source.Value) {
	hot := p.Targets.Chill == ServedHot
	if hot && !p.Cooked() {
		targets.FaultAt("chill", "only what is cooked can be served hot, and this file names neither a core nor a lethality to reach, or another process", "name a core, or chill it by a rule")
		return
	}
	items, last := stages.List(MaxStages), len(p.Stages)-1
	if len(items) != len(p.Stages) {
		return
	}
	asked := false
	for i, s := range p.Stages {
		for _, c := range s.Until.Conditions {
			switch {
			case c.Measured != Eaten:
			case !hot:
				items[i].Map().FaultAt("until", "it waits until all is eaten, and the product is not served hot", "write chill: served hot under targets, or confirm instead of eaten")
			case i != last:
				items[i].Map().FaultAt("until", "it waits until all is eaten, and a stage follows", "write eaten in the last stage")
			default:
				asked = true
			}
		}
	}
	if hot && !asked {
		targets.FaultAt("chill", "no stage ends with the word of a person that it was eaten, so nothing would show it",
			"add eaten to the until of the last stage, such as eaten: All of it is eaten, and what is left is thrown away")
	}
}
