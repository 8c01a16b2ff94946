package main

import (
	"syscall"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// While a hand step waits that closes the damper the chamber stays cooler than it was set:
// page and command line say so, and why.
func TestTheCoolerChamberIsExplained(t *testing.T) {
	d := startDaemon(t, "--by-hand", "--cabinet", "plywood-cabinet", "--pace", "1000")
	status, _, errs := d.client("start", "marjoram-ring", "--reason", "trial")
	require.Equal(t, exitGood, status, errs)
	p := openPhone(t, d.url, 360, 640)
	for _, words := range []string{"Hang the rings", "dry to the touch"} {
		p.until("status !== null && status.prompt !== null && status.prompt.text.includes('" + words + "')")
		status, _, errs = d.client("confirm", d.status().Prompt.Question)
		require.Equal(t, exitGood, status, errs)
	}
	p.until("status.prompt !== null && status.prompt.text.includes('close the damper') && status.aims_lower_kelvin > 3")
	p.until("document.getElementById('chamber-set').textContent.includes('cooler: closing the damper lifts the air')")
	p.picture("cooler")
	_, said, _ := d.client("status")
	assert.Regexp(t, `kept \d.* K cooler: closing the damper will lift the air`, said)

	// Held, there is no setpoint to be cooler than; the page goes on drawing.
	p.read("(() => { window.faults = []; addEventListener('error', e => faults.push(e.message)); addEventListener('unhandledrejection', e => faults.push(String(e.reason))); return true; })()")
	status, _, errs = d.client("hold")
	require.Equal(t, exitGood, status, errs)
	p.until("status.state === 'held' && status.setpoint_celsius === null")
	assert.Equal(t, "null", p.read("status.aims_lower_kelvin"))
	p.until("document.getElementById('chamber-set').textContent === t('no setpoint')")
	assert.Equal(t, "[]", p.read("JSON.stringify(faults)"))
	assert.Equal(t, exitGood, d.end(syscall.SIGTERM))
}
