package proof

import (
	"fmt"

	"fumarium/profile"
	"fumarium/profile/fish"
	"fumarium/profile/formula"
	"fumarium/profile/quantity"
)

// process holds the chamber against what another process than cooking asks of it, and what is
// uncured against its time in the warm.
func process(r *Rules, c *Claim, over bool) Judgement {
	if r.Product != nil && r.Product.Process == profile.FermentedAndDried {
		return fermented(r, c, over)
	}
	if r.Uncured {
		return warm(r, c, over)
	}
	if r.Product == nil || r.Product.Process != profile.ColdSmoked {
		return Judgement{DoesNotApply, "it names no process with rules for the chamber"}
	}
	hung := quantity.FormatDuration(c.Smoking.Hung)
	switch broken := c.Smoking.Broken(); {
	case broken != "":
		return Judgement{NotMet, broken + "; fish is smoked cold " + fish.Ways()}
	case !over:
		return Judgement{NotShown, hung + " in the chamber so far"}
	case !c.Smoking.Seen():
		return Judgement{NotShown, fmt.Sprintf("of %s in the chamber it could not be read for %s", hung, quantity.FormatDuration(c.Smoking.Unseen))}
	}
	if worms := parasites(r, c); worms.Answer != Met { // it stays raw: smoking it cold is for fish without
		return worms
	}
	return Judgement{Met, fmt.Sprintf("%s in the chamber, of which %s above %v: %s", hung, quantity.FormatDuration(c.Smoking.Warm), fish.ColderSmoked.Chamber, fish.Ways())}
}

// parasites says what kills them, or was done about them.
func parasites(r *Rules, c *Claim) Judgement {
	const says = "parasites: "
	p := r.Product
	switch f := p.Fish; {
	case p.Process == profile.NotReadyToEat:
		return Judgement{Met, says + "whoever eats it must cook it"}
	case p.Process != profile.ColdSmoked && r.Criterion != nil && r.Criterion.Met(c.Heat):
		return Judgement{Met, says + "the heat kills them"}
	case p.Process != profile.ColdSmoked:
		return Judgement{NotShown, says + "the heat would kill them, and it is not cooked"}
	case f.Parasites == fish.NoSafeguard && p.FishKind() == fish.Tuna:
		return Judgement{NotShown, says + "the file does not say that it is a tuna that needs no freezing, nor how it was frozen (" + fish.ParasiteSource + ")"}
	case f.Parasites == fish.NoSafeguard:
		return Judgement{NotShown, says + "it stays raw, and the file names neither a freezing nor what exempts it from one (" + fish.ParasiteSource + ")"}
	case f.Parasites == fish.Frozen && !f.Freezing.Kills():
		return Judgement{NotMet, says + "the freezing is none of " + fish.FreezingWays + " (" + fish.ParasiteSource + ")"}
	case f.Parasites == fish.Frozen:
		return Judgement{Met, fmt.Sprintf("%sfrozen to %v and kept at %v for %s, as the file says; keep the record (%s)", says, f.Freezing.To, f.Freezing.Kept, quantity.FormatDuration(f.Freezing.For), fish.ParasiteSource)}
	}
	how := map[fish.Safeguard]string{fish.Farmed: "farmed on pellets", fish.ExemptTuna: "a tuna that needs no freezing", fish.RinsedRoe: "roe, rinsed"}[p.Fish.Parasites]
	return Judgement{Met, says + how + ", as the file says (" + fish.ParasiteSource + ")"}
}

// rawFish says what was done about parasites, where no heat kills them, and histamine,
// which no heat destroys.
func rawFish(r *Rules, c *Claim) Judgement {
	p := r.Product
	if p == nil || p.Species != profile.Fish {
		return Judgement{DoesNotApply, "it is no fish"}
	}
	kind := p.FishKind()
	worms := parasites(r, c)
	if worms.Answer != Met {
		return worms
	}
	shown := []string{worms.Why}
	by := kind.Histamine()
	switch f := p.Fish; {
	case f.HasHistamine && f.Histamine >= fish.Decomposed:
		return Judgement{NotMet, fmt.Sprintf("histamine: %g ppm, and from %d ppm on fish counts as spoilt (%s)", f.Histamine, fish.Decomposed, fish.HistamineSource)}
	case f.HasHistamine:
		shown = append(shown, fmt.Sprintf("histamine: %g ppm measured, as the file says; spoilt from %d ppm on (%s)", f.Histamine, fish.Decomposed, fish.HistamineSource))
	case kind == fish.Unnamed || kind == fish.Other:
		return Judgement{NotShown, "histamine: the file does not say which fish it is, and it may be one in which histamine gathers"}
	case by != "":
		return Judgement{NotShown, fmt.Sprintf("histamine: it gathers in %s that was not cold from the catch on (%s), no heat destroys it, and none was measured", kind, by)}
	default:
		shown = append(shown, fmt.Sprintf("histamine: no text here names %s", kind))
	}
	return Judgement{Met, shown[0] + "; " + shown[1]}
}

// keeping says what keeps a product good once it is made.
func keeping(p *profile.Product, c *Claim) Judgement {
	if p != nil && p.Process == profile.FermentedAndDried {
		return dried(p, c)
	}
	if p == nil || p.Species != profile.Fish {
		return Judgement{DoesNotApply, "no rule on keeping it is held here"}
	}
	s := formula.FishSaltOf(p)
	how := map[fish.Packing]string{fish.InAir: "in air", fish.InVacuum: "without air"}[s.Packed]
	percent := func(r quantity.Ratio) string { return quantity.Fixed(float64(r)*100, 2) + " %" }
	switch {
	case s.Measured && !s.Enough():
		return Judgement{NotMet, fmt.Sprintf("the salt in the water of the loin is %s, and %s is asked (%s)", percent(s.Loin), percent(s.Wanted), fish.SaltSource)}
	case s.Packed == fish.NoPacking:
		return Judgement{NotShown, "the file does not say how it is packed, with pack: air or pack: vacuum"}
	case !s.Measured:
		return Judgement{NotShown, fmt.Sprintf("packed %s it wants %s of salt in the water of its loin (%s), and that was not measured: a recipe shows the salt put on, not that in the loin", how, percent(s.Wanted), fish.SaltSource)}
	case !p.Fish.HasKeep:
		return Judgement{NotShown, fmt.Sprintf("the file does not say how cold it is kept: %v or colder (%s)", fish.StoredAt, fish.StorageSource)}
	}
	return Judgement{Met, fmt.Sprintf("%s of salt in the water of the loin, %s asked packed %s (%s); by the analysis in the file, and as long as it is kept at %v (%s), which nothing here sees", percent(s.Loin), percent(s.Wanted), how, fish.SaltSource, p.Fish.Keep, fish.StorageSource)}
}
