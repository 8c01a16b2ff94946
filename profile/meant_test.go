package profile

import (
	"testing"

	"github.com/stretchr/testify/assert"
)

func TestMeantAs(t *testing.T) {
	for name, want := range map[string]string{
		"salt": "salt", "Sea salt, fine": "salt", "garlic salt": "salt", "SALT": "salt", "salt-free broth": "-", "unsalted butter": "-", "basalt": "-",
		"water": "water", "ice water": "water", "crushed ice": "water", "Ice": "water", "rice": "-", "spice": "-", "watercress": "-",
		"milk powder": "binder", "non-fat dry milk": "binder", "potato starch": "binder", "wheat flour": "binder", "soy protein concentrate": "binder",
		"binder": "binder", "soy sauce": "-", "milk": "-", "cauliflower": "-",
		"soy protein isolate": "isolated soy protein", "isolated soy protein": "isolated soy protein",
		"sodium erythorbate": "accelerator", "cure accelerator": "accelerator", "ascorbic acid": "ascorbic acid",
		"curing salt": "", "Cure no. 1": "", "sodium nitrite": "", "saltpetre": "", "nitrite-free broth": "-", "secure": "-",
		"cure no. 2": "", "Pink salt": "", "Himalayan pink salt": "", "potassium nitrate": "", "E250": "", "E 252": "", "salpeter": "",
		"celery powder": "", "cultured celery extract": "", "Beetroot juice concentrate": "", "fermented vegetable juice": "", "Swiss chard powder": "",
		"celery seed": "-", "celery leaves": "-", "garlic powder": "-", "beetroot": "-", "cured yolk": "-", "cure and erythorbate mix": "", "nitrites": "",
		"juniper": "-", "black pepper": "-", "": "-", "½": "-",
	} {
		got, ok := meantAs(name)
		if want == "-" {
			assert.False(t, ok, "%q is taken for %q", name, got.as)
			continue
		}
		assert.True(t, ok, name)
		assert.Equal(t, want, got.as, name)
	}
	for _, m := range meanings { // what is asked for is a word of the file, and means that
		for _, k := range ingredientKinds {
			if k.Text == m.as {
				assert.Equal(t, k.Meaning, m.kind)
			}
		}
		assert.Equal(t, m.cure, m.as == "", m.names)
	}
}

func TestMeantNitrate(t *testing.T) {
	for name, want := range map[string]bool{
		"cure no. 2": true, "Cure #2": true, "curing salt 2": true, "saltpetre": true, "sodium nitrate": true,
		"cure no. 1": false, "2nd cure": false, "cure": false, "nitrate-free cure": false, "nitrite salt": false,
	} {
		assert.Equal(t, want, meantNitrate(name), name)
	}
}
