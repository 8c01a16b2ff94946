package deviation

import (
	"fmt"

	"fumarium/profile/ferment"
	"fumarium/profile/fish"
)

// process is fish that was smoked too warm or too long, or sausage that was warm for too
// long before it was sour.
func process(b *Batch) []Step {
	if b.Uncured {
		return warm()
	}
	if b.Fish {
		return []Step{
			{"cook it now by the rule for hot-smoked fish, and call it that", []string{"what it made while it was warm for too long no heat takes away: only where it was warm for a short time"}, own},
			destroy("it hung warmer or longer than that, or nobody knows"),
		}
	}
	return []Step{
		{"test it for the toxins of Staphylococcus aureus, A to E", []string{"a test for the living bacteria does not do: the toxin outlives them"}, deviates3},
		{"do not ferment on, dry on or cook it for this", []string{"no heat destroys the toxin"}, deviates3},
		destroy("the toxin was not tested for"),
	}
}

func killed() []Step {
	return []Step{
		{"show it by a study of just this recipe and process: " + ferment.KillTargets, []string{}, ferment.KillSource},
		{"or by a heat step that meets a row of the species' table, in a batch that is held to it", []string{}, guide},
		{"or by tests of the lot for Salmonella and Listeria monocytogenes, and with beef for E. coli O157:H7, by a plan that an authority wrote", []string{"for trichinae in pork: meat that was frozen for it or is certified"}, own},
		destroy("none of it is shown and it is to be eaten raw"),
	}
}

func rawFish() []Step {
	return []Step{
		{"for parasites: freeze it now, before it is eaten", []string{fish.FreezingWays}, fish.ParasiteSource},
		{"for histamine: have several fish of the lot tested", []string{fmt.Sprintf("from %d ppm on it counts as spoilt; neither heat nor cold destroys it", fish.Decomposed)}, fish.HistamineSource},
		destroy("histamine may be in it and was not tested for"),
	}
}

func keeping(b *Batch) []Step {
	if b.Fish {
		return []Step{
			{"have the salt and the water of the finished loin measured", []string{"100 × salt / (salt + water)"}, fish.SaltSource},
			{fmt.Sprintf("do not pack it without air; keep it at %s or colder", Both(fish.StoredAt)), []string{}, fish.SaltSource + "; " + fish.StorageSource},
			destroy("it was packed without air and the salt is not shown"),
		}
	}
	return []Step{
		{"have the water activity measured, and dry it on if it is too high", []string{fmt.Sprintf("%g in air, %g without", ferment.StableInAir, ferment.StableInVacuum)}, ferment.StableSource},
		{"keep it cold until then", []string{}, own},
		destroy("it was kept warm and the water activity is not shown"),
	}
}
