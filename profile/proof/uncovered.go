package proof

// uncovered is what no verdict says anything of. It is printed with each.
var uncovered = []string{
	"the raw meat or fish, how fresh it was and how it was kept; histamine that nobody measured and what else no heat takes away",
	"whether the formula was weighed and mixed as it is written",
	"the pieces without a probe, and whether the probes sat in the middle of the thickest",
	"the probes since they were last calibrated or shown in ice water, which also shows a wire of another type than its chip is set to",
	"hands, knives, bowls and pests, and what gets onto the product after the cook: Listeria when it is cut and packed",
	"the cold store, the time that it keeps, its packing and its label with its allergens",
	"the wood, the tar and the PAH of the smoke; metal, bone and string",
}

// Uncovered is what no verdict says anything of.
func Uncovered() []string { return append([]string(nil), uncovered...) }
