package main

import (
	"fmt"
	"io"
	"os"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"fumarium/profile"
	"fumarium/profile/assess"
	"fumarium/profile/chilling"
	"fumarium/profile/lethality"
	"fumarium/profile/logbook"
	"fumarium/profile/quantity"
)

type assessOptions struct {
	species, humidity, reference, z, d, probeError string
	nitrite, erythorbate, salt, grown              float64
	cased, poultryInIt, lean, servedHot, json      bool
	intact                                         bool
	where                                          string
	cores                                          []string
	zone, gap                                      string
	names                                          []string
}

func assessCommand() *cobra.Command {
	var o assessOptions
	c := &cobra.Command{
		Use:   "assess LOG.csv",
		Short: "Judge any logger's CSV: lethality, come-up and cooling",
		Long: `Reads a logger's CSV and says whether the product got hot enough for long enough,
with its surface moist, came up fast enough and cooled down fast enough, with the
reasons. Pass means that all of it was shown; what the log does not show and nobody
states is not shown.

The file has a header: a column time or elapsed_seconds, elapsed_minutes or
elapsed_hours, and one or more temperatures whose names end in _celsius, _fahrenheit,
°C or °F. Cells are separated by commas, semicolons or tabs; with the last two a
decimal comma is read as well. A time has its zone (RFC 3339), or --zone names that
of local times, which have the year first or the day first with points. --name gives
a column another name. "-" reads standard input.

Every temperature is a core unless its first word says that it is something around
the product: ` + aroundWords() + `.
The coldest core counts while heating, the hottest while cooling.

Two rows count as one stretch when they are no further apart than twice the usual
interval of the log, at least 5 min and at most 30 min; --gap sets it. In a longer
gap, or while a core was not read, no heat counts, and the time counts against the
come-up and the cooling. A row that those around it do not bear out counts as not
read. So does all that a probe reads from a jump on (5 K, and more than 15 K/min up
or 30 K/min down) until it reads again what it read before.

Where it does not pass, a worksheet says what the guidance allows next, worked out
with this log. What no verdict covers is listed.

A verdict here is an aid. It does not replace a validated process; for food that is
sold, a process authority and the local inspector decide.

Exit status: 0 passes, 1 does not, 2 usage, 3 the file could not be read.`,
		Example: `  fumarium assess cook.csv --cased --nitrite-ppm 150
  fumarium assess turkey.csv --species poultry --humidity sealed
  fumarium assess export.csv --zone Europe/Berlin --name Datum=time --name "Probe 1=core_celsius"
  fumarium assess cook.csv --reference 150°F --z 10°F --d 0.172min`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			options, err := o.options(cmd.Flags().Changed)
			if err != nil {
				return err
			}
			remark := ""
			if !cmd.Flags().Changed("species") {
				remark = "fumarium: --species was not given, so the log is judged as red meat; poultry and fish need more\n"
			}
			reading, err := o.reading()
			if err != nil {
				return err
			}
			return runAssess(args[0], reading, options, o.json, remark, cmd.InOrStdin(), cmd.OutOrStdout(), cmd.ErrOrStderr())
		},
	}
	f := c.Flags()
	f.StringVar(&o.species, "species", "red-meat", "`KIND`: red-meat, chicken, turkey, poultry (other or mixed), fish or game; all birds and fish need more than red meat")
	f.BoolVar(&o.cased, "cased", false, "the product hung in a casing, so its surface stayed moist")
	f.Float64Var(&o.nitrite, "nitrite-ppm", 0, "ingoing sodium nitrite, in `PPM` of the green weight")
	f.Float64Var(&o.erythorbate, "erythorbate-ppm", 0, "ingoing sodium erythorbate or ascorbate, in `PPM`")
	f.StringVar(&o.humidity, "humidity", "", "`HOW` the oven was kept humid: steam, sealed, humid, humid-throughout, immersed or dry")
	f.BoolVar(&o.poultryInIt, "poultry-in-it", false, "red meat or game with poultry in it")
	f.BoolVar(&o.lean, "lean", false, "poultry of at most 1 % fat, without its skin")
	f.BoolVar(&o.servedHot, "served-hot", false, fmt.Sprintf("eaten before it was cold: instead of cooling, at most %s below %v", quantity.FormatDuration(chilling.Hot.Limit), chilling.Hot.From))
	f.BoolVar(&o.intact, "intact", false, "muscle in one piece, not pumped and not tenderized")
	f.Float64Var(&o.salt, "salt-in-water", 0, "salt in the water of the finished product, in `PERCENT`: 100 × salt / (salt + water)")
	f.Float64Var(&o.grown, "grown", 0, "`LOG10` of growth before this cook, as a model predicts it; the cook has to kill that as well")
	jurisdictionFlag(c, &o.where)
	f.StringVar(&o.probeError, "probe-error", "", "how far a probe may be wrong, such as 1K; the verdict allows for it")
	f.StringSliceVar(&o.cores, "core", nil, "`COLUMN` to count as a core, instead of all; may be repeated")
	f.StringVar(&o.zone, "zone", "", "`ZONE` of local times, such as Europe/Berlin, UTC or +01:00")
	f.StringArrayVar(&o.names, "name", nil, "`COLUMN=NAME` that it should have had, such as \"Probe 1=core_fahrenheit\"; may be repeated")
	f.StringVar(&o.gap, "gap", "", "longest `TIME` between two rows that counts as seen, such as 10min")
	f.StringVar(&o.reference, "reference", "", "own kinetics: reference `TEMPERATURE`, such as 150°F; with --z and --d")
	f.StringVar(&o.z, "z", "", "own kinetics: `RISE` that makes the kill ten times as fast, such as 10°F")
	f.StringVar(&o.d, "d", "", "own kinetics: `DURATION` for one log10 at the reference, such as 0.172min")
	f.BoolVar(&o.json, "json", false, "print the verdict as JSON")
	return c
}

var assessSpecies = map[string]struct {
	species profile.Species
	bird    lethality.Bird
}{
	"red-meat": {species: profile.RedMeat}, "fish": {species: profile.Fish}, "game": {species: profile.Game},
	"poultry": {species: profile.Poultry}, "chicken": {profile.Poultry, lethality.Chicken}, "turkey": {profile.Poultry, lethality.Turkey},
}

func (o assessOptions) options(given func(flag string) bool) (assess.Options, error) {
	a := assess.Options{
		Cased: o.cased, PoultryInIt: o.poultryInIt, ServedHot: o.servedHot, Cores: o.cores,
		Intact: o.intact, SaltPercent: o.salt, GrownLog10: o.grown,
		HasNitrite: given("nitrite-ppm"), NitritePPM: o.nitrite,
		HasErythorbate: given("erythorbate-ppm"), ErythorbatePPM: o.erythorbate,
	}
	kind, known := assessSpecies[o.species]
	if !known {
		return a, usage("--species %q is unknown; take red-meat, chicken, turkey, poultry, fish or game", o.species)
	}
	a.Species, a.Bird, a.Lean = kind.species, kind.bird, o.lean
	if o.lean && a.Species != profile.Poultry && !o.poultryInIt {
		return a, usage("--lean is for poultry")
	}
	var err error
	if a.Where, err = placeOf(o.where); err != nil {
		return a, err
	}
	if o.humidity != "" {
		if a.Humidity, err = assess.ParseHumidity(o.humidity); err != nil {
			return a, usage("--humidity: %w", err)
		}
	}
	if o.probeError != "" {
		if a.ProbeError, err = quantity.ParseTemperatureDifference(o.probeError); err != nil {
			return a, usage("--probe-error %s: %w", o.probeError, err)
		}
	}
	if o.gap != "" {
		if a.LongestGap, err = quantity.ParseDuration(o.gap); err != nil {
			return a, usage("--gap %s: %w", o.gap, err)
		}
	}
	if o.reference == "" && o.z == "" && o.d == "" {
		return a, nil
	}
	if o.reference == "" || o.z == "" || o.d == "" {
		return a, usage("own kinetics need --reference, --z and --d, all three")
	}
	a.HasOwn = true
	if a.Own.Reference, err = quantity.ParseTemperature(o.reference); err != nil {
		return a, usage("--reference %s: %w", o.reference, err)
	}
	if a.Own.Z, err = quantity.ParseTemperatureDifference(o.z); err != nil {
		return a, usage("--z %s: %w", o.z, err)
	}
	if a.Own.D, err = quantity.ParseDuration(o.d); err != nil {
		return a, usage("--d %s: %w", o.d, err)
	}
	if _, err := lethality.NewCriterion("own", a.Own, 1); err != nil {
		return a, usage("%w", err)
	}
	return a, nil
}

// reading is what the file does not say of itself.
func (o assessOptions) reading() (logbook.Options, error) {
	r := logbook.Options{Names: map[string]string{}}
	for _, pair := range o.names {
		from, to, ok := strings.Cut(pair, "=")
		if from, to = strings.TrimSpace(from), strings.TrimSpace(to); !ok || from == "" || to == "" {
			return r, usage("--name %q is not COLUMN=NAME, such as \"Probe 1=core_fahrenheit\"", pair)
		}
		r.Names[from] = to
	}
	if o.zone == "" {
		return r, nil
	}
	if offset, err := time.Parse("-07:00", o.zone); err == nil {
		r.Zone = offset.Location()
		return r, nil
	}
	var err error
	if r.Zone, err = time.LoadLocation(o.zone); err != nil || o.zone == "Local" {
		return r, usage("--zone %s is no zone that is known here; write one such as Europe/Berlin, UTC or +01:00", o.zone)
	}
	return r, nil
}

// aroundWords lists what is no core, in lines that fit the help.
func aroundWords() string {
	var lines []string
	line := ""
	for _, word := range slices.Sorted(slices.Values(logbook.Around())) {
		if line != "" && len(line)+len(word) > 78 {
			lines, line = append(lines, line+","), ""
		}
		if line != "" {
			line += ", "
		}
		line += word
	}
	return strings.Join(append(lines, line), "\n")
}

func runAssess(name string, reading logbook.Options, o assess.Options, asJSON bool, remark string, stdin io.Reader, w, stderr io.Writer) error {
	in, file := stdin, "standard input"
	if name != "-" {
		f, err := os.Open(name)
		if err != nil {
			return couldNot(err)
		}
		defer f.Close()
		in, file = f, shown(name)
	}
	log, err := logbook.ReadWith(file, in, reading)
	if err != nil {
		return couldNot(err)
	}
	v, err := assess.Assess(log, o)
	if err != nil {
		return usage("%w", err)
	}
	fmt.Fprint(stderr, remark)
	if asJSON {
		err = printJSON(w, v)
	} else {
		_, err = fmt.Fprint(w, v.Text())
	}
	if err != nil {
		return couldNot(err)
	}
	if !v.Pass {
		return &failure{exitBad, errSaid}
	}
	return nil
}
