package assistant

import "fumarium/profile"

// table is the one that every composition here is from: USDA National Nutrient Database for
// Standard Reference, release 24 (2011), rows by their number. Read as Debian's package
// cronometer has it, which is in the public domain.
const table = "USDA SR24"

// A Trim is meat as it is cut and bought, with the published composition of its row.
type Trim struct {
	Key     string
	Name    string // as the product file calls it; it says which animal
	Of      []Kind // what it is for
	Fatty   bool   // it is added for its fat
	Species profile.Species
	Row     string // number and name in the table
	// Percent by mass, as printed.
	Water, Protein, Fat, Carbohydrate, Ash float64
}

// Source says where the composition is from.
func (t *Trim) Source() string { return table + " " + t.Row }

var (
	sausage = []Kind{Sausage}
	both    = []Kind{Sausage, Piece}
	piece   = []Kind{Piece}
	sides   = []Kind{Sides}
)

// trims are the ones that a maker of sausage, of ham and of smoked fish meets most; which
// ones is common practice, no source.
var trims = []Trim{
	{"pork-shoulder", "pork shoulder", sausage, false, profile.RedMeat, "10070 Pork, fresh, shoulder, whole, separable lean and fat, raw", 64.02, 17.18, 17.99, 0, 0.88},
	{"pork-shoulder-lean", "lean pork shoulder", both, false, profile.RedMeat, "10072 Pork, fresh, shoulder, whole, separable lean only, raw", 72.63, 19.55, 7.14, 0, 1.02},
	{"pork-leg-lean", "lean pork leg", both, false, profile.RedMeat, "10010 Pork, fresh, leg (ham), whole, separable lean only, raw", 72.9, 20.48, 5.41, 0, 1.05},
	{"pork-loin-lean", "pork loin", piece, false, profile.RedMeat, "10024 Pork, fresh, loin, whole, separable lean only, raw", 72.23, 21.43, 5.66, 0, 1.05},
	{"beef-90", "beef trim 90/10", sausage, false, profile.RedMeat, "23562 Beef, ground, 90% lean meat / 10% fat, raw", 69.5, 20, 10, 0, 0.98},
	{"beef-80", "beef trim 80/20", sausage, false, profile.RedMeat, "23572 Beef, ground, 80% lean meat / 20% fat, raw", 61.94, 17.17, 20, 0, 0.84},
	{"beef-flank-lean", "lean beef flank", both, false, profile.RedMeat, "23656 Beef, flank, steak, separable lean only, trimmed to 0\" fat, all grades, raw", 72.08, 21.57, 5.47, 0, 1.02},
	{"veal-shoulder", "veal shoulder", sausage, false, profile.RedMeat, "17116 Veal, shoulder, whole (arm and blade), separable lean and fat, raw", 74.78, 19.27, 5.28, 0, 1.05},
	{"lamb-leg-lean", "lean lamb leg", both, false, profile.RedMeat, "17013 Lamb, domestic, leg, whole, separable lean only, trimmed to 1/4\" fat, choice, raw", 74.11, 20.56, 4.51, 0, 1.07},
	{"goat", "goat", sausage, false, profile.RedMeat, "17168 Goat, raw", 75.84, 20.6, 2.31, 0, 1.11},
	{"deer", "deer trim", both, false, profile.Game, "17164 Game meat, deer, raw", 73.57, 22.96, 2.42, 0, 1.16},
	{"elk", "elk trim", sausage, false, profile.Game, "17166 Game meat, elk, raw", 74.38, 22.95, 1.45, 0, 1},
	{"boar", "wild boar trim", sausage, false, profile.Game, "17158 Game meat, boar, wild, raw", 72.54, 21.51, 3.33, 0, 0.97},
	{"chicken-thigh", "chicken thigh with skin", sausage, false, profile.Poultry, "05091 Chicken, broilers or fryers, thigh, meat and skin, raw", 66.61, 16.24, 16.61, 0.25, 0.81},
	{"chicken-thigh-lean", "chicken thigh without skin", sausage, false, profile.Poultry, "05096 Chicken, broilers or fryers, dark meat, thigh, meat only, raw", 76.42, 19.26, 4.11, 0, 0.96},
	{"turkey-dark", "turkey dark meat", both, false, profile.Poultry, "05187 Turkey, all classes, dark meat, raw", 74.48, 20.07, 4.38, 0, 0.93},
	{"turkey-light", "turkey breast meat", both, false, profile.Poultry, "05185 Turkey, all classes, light meat, raw", 73.82, 23.56, 1.56, 0, 1},
	{"pork-back-fat", "pork back fat", sausage, true, profile.RedMeat, "10004 Pork, fresh, backfat, raw", 7.69, 2.92, 88.69, 0, 0.7},
	{"pork-belly", "pork belly", sausage, true, profile.RedMeat, "10005 Pork, fresh, belly, raw", 36.74, 9.34, 53.01, 0, 0.49},
	{"beef-fat", "beef fat", sausage, true, profile.RedMeat, "13019 Beef, retail cuts, separable fat, raw", 20.21, 8.21, 70.89, 0, 0.28},
	{"lamb-fat", "lamb fat", sausage, true, profile.RedMeat, "17005 Lamb, domestic, composite of trimmed retail cuts, separable fat, choice, raw", 22.54, 6.65, 70.61, 0, 0.43},
	{"chicken-skin", "chicken skin", sausage, true, profile.Poultry, "05674 Chicken, skin (drumsticks and thighs), raw", 44.91, 9.58, 44.23, 0.79, 0.49},
	{"trout", "trout sides", sides, false, profile.Fish, "15240 Fish, trout, rainbow, farmed, raw", 73.8, 19.94, 6.18, 0, 1.21},
	{"salmon", "salmon sides", sides, false, profile.Fish, "15236 Fish, salmon, Atlantic, farmed, raw", 64.89, 20.42, 13.42, 0, 1.13},
	{"whitefish", "whitefish sides", sides, false, profile.Fish, "15130 Fish, whitefish, mixed species, raw", 72.77, 19.09, 5.86, 0, 1.12},
}

func trimOf(key string) *Trim {
	for i := range trims {
		if trims[i].Key == key {
			return &trims[i]
		}
	}
	return nil
}
