package main

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"fumarium/cmd/fumarium/internal/wiring"
	"fumarium/controller/cabinet"
	"fumarium/profile/quantity"
	"fumarium/sensors/channel"
	"fumarium/sensors/psychrometer"
)

type calibrateOptions struct {
	cabinet, probe, state string
	altitudeMeters        float64
	barometer             bool // the pressure was read, not taken from an altitude
	pressureHectopascal   float64
	iceOnly               bool
}

// calibrationFile is where calibrations are kept, one JSON object a line.
const calibrationFile = "calibration.jsonl"

// How a point is measured; common practice, no source.
const (
	pointSamples         = 30
	fewestGood           = 25
	steady       float64 = 0.5 // K between the lowest and the highest

	// What may be left after two points: the baths are not quite at their temperatures and
	// the probe is not the same every day; and where the pressure is that of an altitude,
	// the weather moves it by 3 %.
	bathError float64 = 0.3
	weather   float64 = 0.03
)

// leftOver is how far a probe may be wrong between two points that were measured.
// barometer says that somebody read one.
func leftOver(pressurePascal float64, barometer bool, iceSpan, boilingSpan float64) float64 {
	e := bathError + max(iceSpan, boilingSpan)/2
	if !barometer {
		e += float64(channel.BoilingPoint(pressurePascal*(1+weather)) - channel.BoilingPoint(pressurePascal))
	}
	return math.Ceil(e*10-1e-9) / 10
}

func calibrateCommand() *cobra.Command {
	var o calibrateOptions
	c := &cobra.Command{
		Use:   "calibrate --cabinet FILE --probe NAME [--altitude METERS | --pressure HECTOPASCAL | --ice-only]",
		Short: "Measure a probe in melting ice and in boiling water",
		Long: `Reads one probe in melting ice and in boiling water and prints the lines to put
into the cabinet file. It changes no file of yours; what was measured is appended
to ` + calibrationFile + ` in the state folder.

Ice: crushed ice with just enough clean water to fill the gaps, stirred; the tip in
the middle and off the bottom. Boiling: a full boil, the tip deep in the water and
off the pot. Water boils lower the higher one lives and the worse the weather: the
pressure of the air is that which a BME280 or BMP280 of the cabinet measures, or that of
the altitude in its file, unless you give another, or a barometer's absolute pressure
(not the one reduced to sea level).

Mind steam and boiling water. Keep water away from the electronics.`,
		Example: `  fumarium wiring calibrate --cabinet my-cabinet.yaml --probe "core 1" --altitude 420
  fumarium wiring calibrate --cabinet my-cabinet.yaml --probe chamber --ice-only`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			f := cmd.Flags()
			given := 0
			for _, name := range []string{"altitude", "pressure", "ice-only"} {
				if f.Changed(name) {
					given++
				}
			}
			if o.cabinet == "" || o.probe == "" || given > 1 {
				return usage("name --cabinet, --probe and at most one of --altitude, --pressure and --ice-only")
			}
			if f.Changed("pressure") && !(o.pressureHectopascal > 0) {
				return usage("--pressure %v is none; give a barometer's absolute pressure, such as 955", o.pressureHectopascal)
			}
			o.barometer = f.Changed("pressure")
			if f.Changed("altitude") {
				const least, most = float64(cabinet.LowestAltitude), float64(cabinet.HighestAltitude)
				if !(o.altitudeMeters >= least && o.altitudeMeters <= most) {
					return usage("--altitude %v is outside %v to %v m", o.altitudeMeters, least, most)
				}
				o.pressureHectopascal = psychrometer.PressureAt(quantity.Meters(o.altitudeMeters)) / 100
			}
			return newBench(cmd).calibrate(cmd.Context(), o)
		},
	}
	f := c.Flags()
	f.StringVar(&o.probe, "probe", "", "`NAME` of the probe in the file")
	f.StringVar(&o.state, "state", "", "`DIR` for the record (default: "+stateHint+")")
	f.Float64Var(&o.altitudeMeters, "altitude", 0, "`METERS` above the sea (default: that of the cabinet file)")
	f.Float64Var(&o.pressureHectopascal, "pressure", 0, "absolute pressure in `HECTOPASCAL`")
	f.BoolVar(&o.iceOnly, "ice-only", false, "only the ice point: an offset")
	return cabinetFlag(c, &o.cabinet)
}

// calibrationRecord is one line of the record.
type calibrationRecord struct {
	Time           time.Time `json:"time"`
	Cabinet        string    `json:"cabinet"`
	Probe          string    `json:"probe"`
	Chip           string    `json:"chip"`
	IceCelsius     float64   `json:"ice_celsius"`
	BoilingCelsius *float64  `json:"boiling_celsius,omitempty"`
	TruthCelsius   *float64  `json:"boiling_point_celsius,omitempty"`
	PressurePascal *float64  `json:"pressure_pascal,omitempty"`
	OffsetKelvin   float64   `json:"offset_kelvin"`
	StretchRatio   float64   `json:"stretch_ratio"`
	ErrorKelvin    *float64  `json:"error_kelvin,omitempty"` // that may be left; of two points only
}

func (b *bench) calibrate(ctx context.Context, o calibrateOptions) error {
	c, err := findCabinet(o.cabinet)
	if err != nil {
		return err
	}
	if c.Simulated() {
		return couldNot(fmt.Errorf("%s exists only in rehearsal: its probes are as good as its file says", c.Name))
	}
	w := wiring.OpenProbes(c, b.buses)
	defer w.Close()
	if !o.iceOnly && o.pressureHectopascal == 0 {
		if pascal, measured := w.Pascal(b.elapsed, func(d time.Duration) error { return b.wait(ctx, d) }); measured {
			o.pressureHectopascal, o.barometer = pascal/100, true
			fmt.Fprintf(b.out, "The chip in the room measures %.1f hPa.\n", o.pressureHectopascal)
		} else if !c.HasAltitude {
			return usage("%s does not say how high it stands; add its altitude to the file, or give --altitude, --pressure or --ice-only", o.cabinet)
		} else {
			o.pressureHectopascal = c.Pressure() / 100
		}
	}
	var probe *wiring.Channel
	var names []string
	for _, ch := range w.Channels() {
		names = append(names, ch.Probe.Name)
		if ch.Probe.Name == o.probe {
			probe = ch
		}
	}
	if probe == nil {
		return usage("%s has no probe %q; it has %s", c.Name, o.probe, strings.Join(names, ", "))
	}
	ice, iceSpan, err := b.point(ctx, probe, "Put the probe into melting ice and wait a minute, then press Enter: ")
	if err != nil {
		return couldNot(err)
	}
	record := calibrationRecord{Time: time.Now().UTC().Truncate(time.Second), Cabinet: c.Name, Probe: o.probe, Chip: probe.Probe.Chip, IceCelsius: float64(ice)}
	var calibration channel.Calibration
	if o.iceOnly {
		calibration, err = channel.IcePoint(ice)
	} else {
		if _, err := channel.IcePoint(ice); err != nil { // say so before anyone boils water
			return couldNot(err)
		}
		pressure := o.pressureHectopascal * 100
		truth := float64(channel.BoilingPoint(pressure))
		boiling, boilingSpan, pointErr := b.point(ctx, probe, fmt.Sprintf("Put the probe into boiling water, which is at %.2f °C here, and wait a minute, then press Enter: ", truth))
		if pointErr != nil {
			return couldNot(pointErr)
		}
		measured := float64(boiling)
		left := leftOver(pressure, o.barometer, iceSpan, boilingSpan)
		record.BoilingCelsius, record.TruthCelsius, record.PressurePascal, record.ErrorKelvin = &measured, &truth, &pressure, &left
		calibration, err = channel.TwoPoint(ice, boiling, pressure)
	}
	if err != nil {
		return couldNot(err)
	}
	if calibration.Offset < -5 || calibration.Offset > 5 || calibration.Stretch < -0.1 || calibration.Stretch > 0.1 {
		return couldNot(fmt.Errorf("probe %q is off by %.1f K and %.1f %%, more than a cabinet file takes (5 K, 10 %%); replace the probe or its front end", o.probe, float64(calibration.Offset), 100*float64(calibration.Stretch)))
	}
	record.OffsetKelvin, record.StretchRatio = float64(calibration.Offset), float64(calibration.Stretch)
	fmt.Fprintf(b.out, "\nPut this at the probe %q of %s, in place of what is there:\n\n    offset: %s K\n", o.probe, o.cabinet, quantity.Fixed(record.OffsetKelvin, 2))
	if !o.iceOnly {
		fmt.Fprintf(b.out, "    stretch: %s %%\n", quantity.Fixed(100*record.StretchRatio, 3))
		fmt.Fprintf(b.out, "    error: %s K\n    calibrated: %s\n", quantity.Fixed(*record.ErrorKelvin, 1), record.Time.Format(time.DateOnly))
		if !o.barometer {
			fmt.Fprintln(b.out, "\nMost of that error is the weather, which moves the boiling point; --pressure with a barometer makes it smaller.")
		}
	} else {
		fmt.Fprintln(b.out, "\nOne point does not show how wrong the probe is where meat is done: its error stays that of its kind.")
	}
	name, err := appendLine(o.state, calibrationFile, record)
	if err != nil {
		return couldNot(fmt.Errorf("the lines above hold, but the record could not be written: %w", err))
	}
	fmt.Fprintf(b.out, "\nappended to %s\n", name)
	return nil
}

// point is the median of the probe's raw readings once the person says that it is
// where it should be.
func (b *bench) point(ctx context.Context, ch *wiring.Channel, question string) (median quantity.Celsius, span float64, err error) {
	if _, err := b.ask(ctx, question); err != nil {
		return 0, 0, fmt.Errorf("no answer: %w; nothing was measured", err)
	}
	var values []float64
	var bad error
	for range pointSamples + 2 { // a chip takes up to two reads to wake up
		ch.Read(b.elapsed())
		if v, ok := ch.Raw.Value(); ok {
			values = append(values, float64(v))
		} else {
			bad = ch.Err()
		}
		if err := b.wait(ctx, time.Second); err != nil {
			return 0, 0, err
		}
	}
	if len(values) < fewestGood {
		return 0, 0, fmt.Errorf("probe %q: only %d of %d readings were good; mend that first: %w", ch.Probe.Name, len(values), pointSamples+2, bad)
	}
	slices.Sort(values)
	if span = values[len(values)-1] - values[0]; span > steady {
		return 0, 0, fmt.Errorf("probe %q moved by %.2f K within %d s, the limit is %v K; stir, wait until it stands still and begin again", ch.Probe.Name, span, pointSamples, steady)
	}
	return quantity.Celsius(values[len(values)/2]), span, nil
}

// appendLine adds one JSON object to a file in the state folder.
func appendLine(state, file string, record any) (string, error) {
	dir, err := stateDir(state)
	if err != nil {
		return "", err
	}
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return "", err
	}
	name := filepath.Join(dir, file)
	f, err := os.OpenFile(name, os.O_APPEND|os.O_CREATE|os.O_WRONLY, 0o600)
	if err != nil {
		return "", err
	}
	if err := json.NewEncoder(f).Encode(record); err != nil {
		f.Close()
		return "", err
	}
	return name, f.Close()
}
