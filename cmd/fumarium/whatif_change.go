package main

import (
	"context"
	"fmt"
	"math"
	"slices"
	"time"

	"fumarium/controller/web"
	"fumarium/profile"
	"fumarium/profile/quantity"
	"fumarium/sim"
)

// changed changes a setup as somebody asks, and says it in words.
func (o *whatifOptions) changed(setup *sim.Setup, hang time.Time) (string, error) {
	var what web.Supposition
	later := sim.Later{At: time.Minute} // the probes were shown in the room as it is
	if o.chamber != "" {
		stages := cooking(setup.Product)
		if len(stages) == 0 {
			return "", usage("--chamber is of the stages that wait for a hot core, and %s has none", setup.Product.Name)
		}
		for _, i := range stages {
			to, err := web.Changed(o.chamber, setup.Product.Stages[i].ChamberSetpoint)
			if err != nil {
				return "", usage("--chamber %s: %w", o.chamber, err)
			}
			if low, high := chambers(setup, i); !(to >= low && to <= high) {
				return "", usage("--chamber %s: %v in stage %s is outside %v to %v, what its core and this cabinet leave", o.chamber, to, setup.Product.Stages[i].Name, low, high)
			}
			setup.Product, what.Chamber = heatedTo(setup.Product, i, to), &to
		}
	}
	if o.damper != "" {
		share, err := web.DamperShare(o.damper)
		if err != nil {
			return "", usage("--damper: %w", err)
		}
		what.Damper, later.HasDamper, later.Damper = &share, true, share
	}
	if o.room != "" {
		by, err := quantity.ParseTemperatureDifference(o.room)
		if err != nil {
			return "", usage("--room: %w", err)
		}
		if by < -web.LargestRoom || by > web.LargestRoom {
			return "", usage("--room %s is more than %v either way; no night brings that", o.room, web.LargestRoom)
		}
		what.Room, later.Room = by, by
	}
	if o.from != "" {
		from, err := comingTime(o.from, hang)
		if err != nil {
			return "", usage("--from %w", err)
		}
		what.From, later.At = from, max(later.At, from.Sub(hang))
	}
	setup.Later = &later
	return supposedText(&what), nil
}

// cooking are the stages that heat and wait for a hot core.
func cooking(p *profile.Product) (stages []int) {
	for i := range p.Stages {
		if u := p.Stages[i].Until; p.Stages[i].Heat && (u.Has(profile.CoreAtLeast) || u.Has(profile.LethalityAtLeast)) {
			stages = append(stages, i)
		}
	}
	return stages
}

// chambers is how cool and how hot a stage may be: as adjust would take it of a batch under
// way.
func chambers(setup *sim.Setup, stage int) (low, high quantity.Celsius) {
	low, high = setup.Product.ChamberBounds()
	high = min(high, setup.Cabinet.Limits.ChamberHigh-quantity.Celsius(profile.ChamberMargin))
	for _, c := range setup.Product.Stages[stage].Until.Conditions {
		if c.Kind == profile.CoreAtLeast {
			low = max(low, c.Core+overCore)
		}
	}
	return low, high
}

// heatedTo is the product with one stage otherwise.
func heatedTo(p *profile.Product, stage int, to quantity.Celsius) *profile.Product {
	other := *p
	other.Stages = slices.Clone(p.Stages)
	other.Stages[stage].ChamberSetpoint = to
	return &other
}

// reach looks for the coolest chamber with which nine in ten are ready by a time, and for
// when to hang it instead. What is ready before needs no other chamber.
func (p *planned) reach(ctx context.Context, setup sim.Setup, ready time.Time, e *web.Supposed) error {
	const near, tries = 120.0, 3
	wanted := ready.Sub(p.hang).Seconds() + near
	p.later = ready.Add(-seconds(p.first.P90Seconds)).Truncate(time.Minute)
	stages := cooking(setup.Product)
	best, by := p.first, quantity.Celsius(0)
	if best.P90Seconds > wanted && len(stages) > 0 {
		end := lever
		for _, i := range stages { // all move by as much
			_, high := chambers(&setup, i)
			end = min(end, max(high-setup.Product.Stages[i].ChamberSetpoint, 0))
		}
		cool, hot, next := quantity.Celsius(0), end, end
		for n := 0; n < tries && next > cool && (n == 0 || next < hot); n++ {
			other := setup
			for _, i := range stages {
				other.Product = heatedTo(other.Product, i, setup.Product.Stages[i].ChamberSetpoint+next)
			}
			s, err := p.spread(ctx, other)
			if err != nil {
				return err
			}
			sound := s.Complete >= p.first.Complete // else it costs what the food needs
			if sound && (s.P90Seconds <= wanted || s.P90Seconds < best.P90Seconds) {
				best, by = s, next
			}
			if sound && s.P90Seconds > wanted {
				cool = next
			} else {
				hot = next
			}
			next = halfway(cool, hot)
		}
	}
	reached := best.P90Seconds <= wanted
	e.Reached, e.Then = &reached, p.said(best)
	if by != 0 {
		e.Change = fmt.Sprintf("chamber %+.1f K", float64(by))
		if len(stages) == 1 {
			to := float64(setup.Product.Stages[stages[0]].ChamberSetpoint + by)
			e.Chamber = &to
			e.Change = "chamber " + quantity.Celsius(to).String()
		}
	}
	return nil
}

// halfway is the middle, to half a kelvin.
func halfway(a, b quantity.Celsius) quantity.Celsius {
	return quantity.Celsius(math.Round(float64(a+b)) / 2)
}
