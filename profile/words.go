package profile

import (
	"strconv"
	"strings"

	"fumarium/profile/quantity"
)

// String is the place as the product file spells it.
func (p Place) String() string {
	switch p {
	case Chamber:
		return "chamber"
	case IceWater:
		return "ice water"
	case Room:
		return "room"
	case ColdRoom:
		return "cold room"
	}
	return quantity.Unknown
}

// String says the condition in words: "45 min", "core at least 71 °C".
func (c Condition) String() string {
	switch c.Kind {
	case After:
		return quantity.FormatDuration(c.After)
	case CoreAtLeast:
		return "core at least " + c.Core.String()
	case CoreAtMost:
		return "core at most " + c.Core.String()
	case LethalityAtLeast:
		return "lethality " + strconv.FormatFloat(c.Lethality, 'f', -1, 64) + " log10"
	case Confirmed:
		return "a person confirms"
	}
	return quantity.Unknown
}

// String says in words when the stage ends.
func (u Until) String() string {
	words := make([]string, len(u.Conditions))
	for i, c := range u.Conditions {
		words[i] = c.String()
	}
	if u.Any {
		return strings.Join(words, " or ")
	}
	return strings.Join(words, " and ")
}

// String is the species as the product file spells it.
func (s Species) String() string {
	for _, w := range species {
		if w.Meaning == s {
			return w.Text
		}
	}
	return quantity.Unknown
}

// String is the process as the product file spells it.
func (p Process) String() string {
	for _, w := range processes {
		if w.Meaning == p {
			return w.Text
		}
	}
	return quantity.Unknown
}

// String is the class as the product file spells it; "none" for NoClass.
func (c Class) String() string {
	for _, w := range classes {
		if w.Meaning == c {
			return w.Text
		}
	}
	return "none"
}

// String is the method as the product file spells it; "none" for NoCure.
func (m CureMethod) String() string {
	for _, w := range methods {
		if w.Meaning == m {
			return w.Text
		}
	}
	return "none"
}

// String is the casing as the product file spells it.
func (c Casing) String() string {
	for _, w := range casings {
		if w.Meaning == c {
			return w.Text
		}
	}
	return quantity.Unknown
}

// String is the way of chilling as the product file spells it; "none" for NoChillRule.
func (c ChillRule) String() string {
	for _, w := range chillRules {
		if w.Meaning == c {
			return w.Text
		}
	}
	return "none"
}
