package profile

import (
	"fumarium/profile/chilling"
	"fumarium/profile/ferment"
	"fumarium/profile/source"
)

// Jurisdiction is the place whose rules a product is held to.
type Jurisdiction uint8

// NoJurisdiction means that nobody named one: see Product.Where. Records hold the numbers:
// new places are added at the end.
const (
	NoJurisdiction Jurisdiction = iota
	UnitedStates
	EuropeanUnion
	UnitedKingdom
	Canada
	AustraliaNewZealand
)

var jurisdictions = []source.Word[Jurisdiction]{
	{Text: "US", Meaning: UnitedStates}, {Text: "EU", Meaning: EuropeanUnion}, {Text: "UK", Meaning: UnitedKingdom},
	{Text: "Canada", Meaning: Canada}, {Text: "Australia/New Zealand", Meaning: AustraliaNewZealand},
}

// Jurisdictions are all places whose rules are known, the one taken by default first.
func Jurisdictions() []Jurisdiction {
	all := make([]Jurisdiction, len(jurisdictions))
	for i, w := range jurisdictions {
		all[i] = w.Meaning
	}
	return all
}

// ParseJurisdiction reads the word that the product file has for a place.
func ParseJurisdiction(text string) (Jurisdiction, bool) {
	for _, w := range jurisdictions {
		if w.Text == text {
			return w.Meaning, true
		}
	}
	return NoJurisdiction, false
}

// String is the jurisdiction as the product file spells it; "none" for NoJurisdiction.
func (j Jurisdiction) String() string {
	for _, w := range jurisdictions {
		if w.Meaning == j {
			return w.Text
		}
	}
	return "none"
}

// Where is the place whose rules the product is held to: the one that it names, or else
// the one that is set, or else the United States, for whose inspected plants most of the
// limits here were written.
func (p *Product) Where(set Jurisdiction) Jurisdiction {
	switch {
	case p != nil && p.Jurisdiction != NoJurisdiction:
		return p.Jurisdiction
	case set != NoJurisdiction:
		return set
	}
	return UnitedStates
}

// SourTable is the table of degree-hours that a place holds what ferments to. Of the
// other places none is known here.
func (j Jurisdiction) SourTable() *ferment.Table {
	if j == Canada {
		return &ferment.CFIA
	}
	return &ferment.FSIS
}

// ChillRules are the ways to chill that are a place's own, in the order in which they are
// worth trying; of the European Union none is known that names a figure.
func (j Jurisdiction) ChillRules() []*chilling.Rule {
	switch j {
	case UnitedStates:
		return chilling.Rules()
	case Canada:
		return []*chilling.Rule{chilling.CanadaIntact(), chilling.CanadaCured()}
	case UnitedKingdom, AustraliaNewZealand:
		return []*chilling.Rule{chilling.ScarmUncured(), chilling.ScarmCured()}
	}
	return nil
}

// Ways are the ways to chill that a species may use in a place: its own, and those of the
// United States where it has none for such a product.
func (j Jurisdiction) Ways(s Species) []*chilling.Rule {
	own := j.ChillRules()
	switch {
	case s == Fish:
		return []*chilling.Rule{chilling.Retail()}
	case len(own) == 0:
		return chilling.Rules()
	case j == Canada: // for what is not intact
		return append(own, chilling.Uncured())
	}
	return own
}
