package profile

import (
	"slices"
	"time"

	"fumarium/profile/fish"
	"fumarium/profile/quantity"
)

// A Product is everything the product file says: what it is made of, how it is
// shaped, when it is done, and the stages that get it there. Products come from
// Parse, which has checked them; the rest of the program reads them only.
type Product struct {
	Name         string
	Source       string // where the schedule comes from, in the file's words
	Shape        Shape
	Species      Species
	Class        Class
	Process      Process
	Jurisdiction Jurisdiction
	Formula      Formula
	Fish         FishFacts
	Vacuum       bool // dried sausage is packed without air
	Targets      Targets
	Stages       []Stage
}

// Form is the geometry that heat conduction is solved in.
type Form uint8

// The three forms for which conduction is one-dimensional.
const (
	Cylinder Form = iota + 1
	Slab
	Sphere
)

// Casing is what the product hangs in.
type Casing uint8

// NoCasing is meat, fish or cheese hung or laid bare.
const (
	NoCasing Casing = iota
	NaturalCasing
	CollagenCasing
	CelluloseCasing
	FibrousCasing
	PlasticCasing // impermeable: no drying, no smoke
	NetCasing
)

// A Shape is one piece of product. A cylinder has Diameter and Length, a slab
// Thickness, Length and Width, a sphere Diameter.
type Shape struct {
	Form      Form
	Diameter  quantity.Meters
	Thickness quantity.Meters
	Length    quantity.Meters
	Width     quantity.Meters
	Casing    Casing
}

// Exponent says how the area grows with the distance from the middle, area ~ distance to
// this power.
func (f Form) Exponent() float64 {
	switch f {
	case Cylinder:
		return 1
	case Sphere:
		return 2
	}
	return 0
}

// HalfThickness is the distance from the middle of the piece to its surface.
func (s Shape) HalfThickness() quantity.Meters {
	if s.Form == Slab {
		return s.Thickness / 2
	}
	return s.Diameter / 2
}

// Species decides which lethality criterion applies.
type Species uint8

// The species groups that have criteria of their own.
const (
	RedMeat Species = iota + 1
	Poultry
	Fish
	Game
	Dairy // cheese: no lethality criterion, nothing is cooked
)

// Class is what a product is called where rules set limits for it by name. It
// decides limits on nitrite, water, fat and binder; nothing in the chamber.
type Class uint8

// NoClass means that the file names none: the formula is judged as what it most
// likely is.
const (
	NoClass Class = iota
	Bacon
	RindOnBacon
	WholeMuscle // any other meat cured or smoked in the piece
	CookedSausage
	Frankfurter // with bologna and the like
	UncookedSausage
	FreshPorkSausage
	FreshBeefSausage
	ItalianSausage
)

// Process is what makes the product safe to eat.
type Process uint8

// FullyCooked is what a file means that names none: it is held to the lethality of its
// species. What is not ready to eat is cooked by whoever eats it, and says so.
// Fish that is smoked cold stays raw, as does sausage that is fermented and dried.
const (
	FullyCooked Process = iota
	NotReadyToEat
	ColdSmoked
	FermentedAndDried
)

// FishFacts are what the rules for fish hang on, as far as the file says it.
type FishFacts struct {
	Kind         fish.Kind
	Parasites    fish.Safeguard
	Freezing     fish.Freezing // if Parasites is fish.Frozen
	Loin         Loin
	Packed       fish.Packing
	HasKeep      bool
	Keep         quantity.Celsius // how cold it is kept
	HasHistamine bool
	Histamine    float64 // ppm, measured of the raw fish
}

// A Loin is the analysis of the finished fish, in its thickest part.
type Loin struct {
	Measured    bool
	Salt, Water quantity.Ratio
	NitritePPM  float64
}

// A Formula is what goes into the batch. With a Pickle, the cures that are pumped or
// that the meat lies in and the items of the pickle are what is in the pickle, of
// which the meat takes up a part; without one all of everything ends up in the meat.
type Formula struct {
	Cut    []Meat
	Cure   Cure   // the first; without it there are no others
	Cures  []Cure // any further ones
	Pickle Pickle
	Other  []Ingredient
}

// A Pickle is the liquid that is pumped into the meat or that the meat lies in:
// its items and the cure. Without items there is none.
type Pickle struct {
	Items []Ingredient
	// Uptake is the mass that the meat takes up as a fraction of its green weight:
	// what is pumped and the measured pick-up.
	Uptake quantity.Ratio
	// Pump is the part of it that is pumped, before meat is laid into what is left of
	// the pickle; zero for meat that is only pumped or only laid in.
	Pump quantity.Ratio
	// LongCure instead means that the meat lies until pickle and meat hold the same
	// share of everything dissolved.
	LongCure bool
}

// Meat is one cut of the meat block with its composition by mass.
type Meat struct {
	Name                              string
	Mass                              quantity.Kilograms
	Water, Protein, Fat, Carbohydrate quantity.Ratio
}

// CureMethod is how the cure gets into the meat; it decides the nitrite limit.
type CureMethod uint8

// NoCure means that the product file names no cure.
const (
	NoCure CureMethod = iota
	Comminuted
	Pumped
	Immersed
	DryRubbed
)

// Cure is one curing mix and how it is used. Its shares are by mass; what they leave
// is salt.
type Cure struct {
	Name             string
	Mass             quantity.Kilograms // in the pickle if there is one for its method, else all in the meat
	Nitrite          quantity.Ratio     // sodium nitrite
	PotassiumNitrite quantity.Ratio
	Nitrate          quantity.Ratio // sodium nitrate
	PotassiumNitrate quantity.Ratio // saltpetre
	Method           CureMethod     // massaged meat counts as Pumped
	Rest             time.Duration  // zero when the file names none
}

// IngredientKind says what an ingredient counts as in the sums.
type IngredientKind uint8

// Spice is everything that counts as none of the others.
const (
	Spice IngredientKind = iota
	Salt
	Water
	Sugar
	Binder
	Accelerator // sodium erythorbate or ascorbate
	Fat
	AscorbicAcid // or erythorbic acid: an accelerator, stronger by weight
	SoyIsolate   // isolated soy protein: a binder with a limit of its own
)

// An Ingredient is anything in the formula but meat and cure.
type Ingredient struct {
	Name string
	Mass quantity.Kilograms
	As   IngredientKind
}

// ChillRule is the way of chilling that the product is held to. Which text that is depends
// on the place: see Product.ChillRule.
type ChillRule uint8

// NoChillRule means that the file sets none. What is served hot is not chilled: it is
// eaten before.
const (
	NoChillRule ChillRule = iota
	ChillCured
	ChillUncured
	ChillRetail
	ServedHot
)

// Targets are what makes the product done and safe. Zero means not set, told
// apart from a real zero by the Has fields.
type Targets struct {
	HasCore      bool
	Core         quantity.Celsius
	HasLethality bool
	Lethality    float64 // log10 reduction
	Chill        ChillRule
}

// Place is where the product is during a stage.
type Place uint8

// The places a batch passes through. The file may leave the place out; Parse
// fills it in: in the chamber while anything heats or smokes, in ice water when
// a stage without heat waits for a falling core, in the room after that.
const (
	Chamber Place = iota + 1
	IceWater
	Room
	ColdRoom
)

// A Stage is one step of the schedule.
type Stage struct {
	Name string
	// Heat is false for a stage with "heater: off"; ChamberSetpoint then means
	// nothing.
	Heat            bool
	ChamberSetpoint quantity.Celsius
	// Ramp is the steepest rise of the setpoint; zero leaves it to the cabinet.
	Ramp quantity.KelvinPerSecond
	// HasHumidity tells an unset Humidity from 0 %.
	HasHumidity bool
	Humidity    quantity.Ratio
	// Instead of it the wet bulb itself may be asked for, or by how much it is below the
	// dry one: the drier the air, the more. At most one of the three is set.
	HasWetBulb    bool
	WetBulb       quantity.Celsius
	HasDepression bool
	Depression    quantity.Kelvin
	// NotAbove is how warm the chamber may get, for what is smoked cold.
	HasNotAbove bool
	NotAbove    quantity.Celsius
	Fan         quantity.Ratio // 0 off, 1 full
	Smoke       bool
	// HasDamper tells an unset Damper (left as it is) from a closed one.
	HasDamper bool
	Damper    quantity.Ratio // 0 shut, 1 open
	Place     Place
	// Ask is what the person must do as the stage begins. The stage's clock, its
	// smoke and its end conditions wait for the confirmation.
	Ask    string
	Until  Until
	Within time.Duration // raises an alarm, never ends the stage; 0 is none
	Line   int           // line in the file, for messages
}

// AsksMoisture reports whether the stage wants the air held at some moisture.
func (s *Stage) AsksMoisture() bool { return s.HasHumidity || s.HasWetBulb || s.HasDepression }

// AirWords says how moist the air shall be and how warm it may get, for people.
func (s *Stage) AirWords() (words []string) {
	if s.HasHumidity {
		words = append(words, "humidity "+s.Humidity.String())
	}
	if s.HasWetBulb {
		words = append(words, "wet bulb "+s.WetBulb.String())
	}
	if s.HasDepression {
		words = append(words, "wet bulb "+s.Depression.String()+" below the chamber")
	}
	if s.HasNotAbove {
		words = append(words, "chamber not above "+s.NotAbove.String())
	}
	return words
}

// Until says when a stage ends: when all of its conditions hold, or with Any at
// the first that does.
type Until struct {
	Any        bool
	Conditions []Condition
}

// Has reports whether one of the conditions is of that kind.
func (u Until) Has(kind ConditionKind) bool {
	return slices.ContainsFunc(u.Conditions, func(c Condition) bool { return c.Kind == kind })
}

// ConditionKind says what a condition waits for.
type ConditionKind uint8

// The four things that can end a stage.
const (
	After ConditionKind = iota + 1
	CoreAtLeast
	CoreAtMost // "core" in a stage without heat
	LethalityAtLeast
	Confirmed
)

// A Condition is one thing a stage waits for. Only the field its Kind names is
// meaningful.
type Condition struct {
	Kind      ConditionKind
	After     time.Duration
	Core      quantity.Celsius
	Lethality float64 // log10 reduction
	Confirm   string  // what the person is asked
	// Measured says what the person has to measure before confirming it, and AtMost what it
	// may be. A condition with it is of the kind Confirmed.
	Measured Measured
	AtMost   float64
}

// Measured is what a person measures of the product, and swears to by confirming it.
type Measured uint8

// What can be waited for: pH, weight as a part of that when it was hung, water activity, and
// that all of it was eaten.
const (
	NotMeasured Measured = iota
	SourTo
	DriedTo
	WaterActivity
	Eaten
)
