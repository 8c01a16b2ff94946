package keys

import "slices"

// lineRows are the keys that every line of the GPIO chip has.
func lineRows(of, polarity string) []row {
	return []row{
		need(of+".pin", "the line's name or number on the GPIO chip; simulated for one that exists only in rehearsal"),
		usual(of+".polarity", "whether the line is high or low when it is active", polarity),
	}
}

// contact is a relay that is only on or off.
func contact(of string) []row {
	return append(lineRows(of, "active high"),
		usual(of+".insist", "takes a pin that is on before any program runs, which is refused otherwise", "no"))
}

// relay is an output that is switched for a share of a window.
func relay(of, window, on, off string) []row {
	return append(contact(of),
		usual(of+".window", "the time of which it is on for a share", window),
		usual(of+".least on", "the shortest time that it is on", on),
		usual(of+".least off", "the shortest time that it is off", off))
}

var cabinetHead = []row{
	usual("format", "the format of the file", "1").as("a whole number from 1"),
	need("cabinet", "what the cabinet is called"),
	need("ambient", "what to expect of the room"),
	free("load", "the most food that it is meant for; check notes what is more", "nothing is said of it"),
	free("altitude", "above the sea: where water boils, and how a wet bulb reads", "as at the sea, and check asks for it where it counts"),
	free("line chip", "the label of the GPIO chip that the pins belong to", "the only one whose label begins with pinctrl-"),
	usual("mains", "what thermocouple chips filter out", "50 Hz"),
	need("probes", "what measures, one of them the chamber"),
	need("probes.name", "what the probe is called; no two alike"),
	need("probes.role", "what it measures"),
	need("probes.chip", "what it hangs on; simulated for a probe that exists only in rehearsal"),
	free("probes.bus", "the bus of the chip: SPI0.0, I2C1 or w1_bus_master1; simulated for a simulated chip behind the real driver",
		"needed for a chip"),
	free("probes.type", "the letter of the thermocouple's wire", "K for a chip that reads one"),
	free("probes.address", "of the chip on its bus, or the 16 digits of a DS18B20", "the chip's usual one; a DS18B20 on a real bus needs it").
		as("a number in hexadecimal, from 0x"),
	usual("probes.board", "how warm the board of a MAX6675 is", "25 °C"),
	usual("probes.input", "the input of an ADS1115", "0"),
	free("probes.supply", "what feeds the dividers of an ADS1115", "input 3, 3.3 V"),
	need("probes.supply.input", "the input that measures it"),
	need("probes.supply.voltage", "what it should be"),
	free("probes.thermistor", "the thermistor on an ADS1115 and its divider", "needed for an ADS1115"),
	need("probes.thermistor.resistor", "the fixed resistor of the divider"),
	usual("probes.thermistor.to", "what the fixed resistor goes to", "ground"),
	free("probes.thermistor.beta", "of the part's data sheet", "needed without points"),
	free("probes.thermistor.at 25", "its resistance at 25 °C", "needed with beta"),
	free("probes.thermistor.points", "its resistance at three temperatures, of the data sheet", "needed without beta"),
	need("probes.thermistor.points.at", "one temperature"),
	need("probes.thermistor.points.is", "its resistance there"),
	usual("probes.wick", "what moves the air past the wick of a wet bulb", "open"),
	usual("probes.sheath", "its time constant in still air, for the rehearsal", "0 s"),
	usual("probes.offset", "is added to what it shows at 0 °C", "0 K"),
	usual("probes.stretch", "is added for each kelvin above that", "0 %"),
	free("probes.error", "how far it may still be wrong", "what the kind of probe and chip may be wrong by"),
	free("probes.calibrated", "the day on which the error was found", "no day").as("year, month and day"),
	usual("probes.damping", "time constant of a filter against noise", "0 s"),
	need("heater", "the relay of the heating element"),
	need("heater.power", "of the element"),
	free("heater.relay", "what closes its circuit: with mechanical the window is chosen by how the chamber answers, 24 s at least; with solid state it is 2 s", "the window is 20 s"),
	free("heater.rated cycles", "how often it may close, by its data sheet at the element's current; wear is counted", "wear is not counted"),
}

var cabinetTail = []row{
	need("limits", "what the cabinet may never do"),
	need("limits.chamber", "at which the heater trips, whatever the product asks for"),
	free("limits.ramp", "how fast the setpoint rises at most", "no limit"),
	free("rules", "interlocks between parts", "the fan rests while it smokes"),
	usual("rules.fan with smoke", "yes where the pump makes more pressure than the fan does where the smoke comes in", "no"),
	free("generator", "the smoke generator", "its air is never turned down and its fuel not counted"),
	free("generator.fuel", "air-dry wood of one filling", "needed without lasts"),
	need("generator.air", "what its pump blows without a pause"),
	need("generator.heat", "what it adds to the chamber at full air"),
	need("generator.moisture", "water vapour from one filling: what the wood holds and what smouldering makes, some 0.55 kg for each kg of wood"),
	usual("generator.turned down", "the share of full air once the ember glows", "60 %"),
	usual("generator.ember", "above this the ember probe says that it smoulders; refused without one", "200 °C"),
	free("generator.full air", "from lighting it until its ember glows", "by fuel and air, or by lasts"),
	free("generator.lasts", "how long one filling lasts as it is run here", "by fuel and air"),
	need("response", "how the chamber answers to heat"),
	need("response.gain", "the rise above the room at full heat, in the end"),
	need("response.lag", "the longer time constant"),
	need("response.second lag", "the shorter one"),
	need("response.dead time", "until anything is seen"),
	usual("response.least", "the least share of that rise that it follows, loaded and wet", "20 %"),
	usual("response.most", "the greatest share", "200 %"),
	free("learned", "what fumarium tune has found: the control law goes by it, and no trip", "the control law goes by response"),
	free("learned.fan off", "how the chamber answers with the fan off", "as response has it"),
	need("learned.fan off.gain", "the rise above the room at full heat, in the end"),
	need("learned.fan off.lag", "the longer time constant"),
	need("learned.fan off.second lag", "the shorter one"),
	need("learned.fan off.dead time", "until anything is seen"),
	free("learned.fan on", "and with it on", "as response has it"),
	need("learned.fan on.gain", "the rise above the room at full heat, in the end"),
	need("learned.fan on.lag", "the longer time constant"),
	need("learned.fan on.second lag", "the shorter one"),
	need("learned.fan on.dead time", "until anything is seen"),
	free("rehearsal", "what the simulated cabinet is built of", "it cannot be rehearsed"),
	need("rehearsal.inside", "the room inside"),
	need("rehearsal.inside.width", "its width"),
	need("rehearsal.inside.depth", "its depth"),
	need("rehearsal.inside.height", "its height"),
	need("rehearsal.wall", "the layers of the wall from the inside out"),
	need("rehearsal.wall.material", "what the layer is of"),
	need("rehearsal.wall.thickness", "how thick it is"),
	need("rehearsal.racks", "mass of racks and hooks, as steel"),
	need("rehearsal.element", "mass of the heating element, as steel"),
	need("rehearsal.leak", "area of all cracks together, length times width; a gap under 2 mm passes less than its area"),
	need("rehearsal.vent", "area of each of two openings, one low and one high, with the damper open"),
	need("rehearsal.fan flow", "air that the full fan moves inside: what its label says of free air"),
	need("rehearsal.fan exchange", "fresh air that the full fan draws through the open damper, beside what rises by itself"),
	usual("rehearsal.humidifier", "water vapour in an hour when it is on", "0 kg"),
	usual("rehearsal.cooler", "the heat that it takes out of air of 20 °C when on", "0 W"),
	usual("rehearsal.past tray", "the share of the element's radiation that misses the drip tray: half goes down, and more than half meets product", "50 %"),
}

func cabinetRows() []row {
	output := func(of, what, window, on, off string) []row {
		return append([]row{free(of, what, "there is none")}, relay(of, window, on, off)...)
	}
	input := func(of, what, polarity string) []row {
		return append([]row{free(of, what, "there is none")}, lineRows(of, polarity)...)
	}
	return slices.Concat(cabinetHead, relay("heater", "20 s", "2 s", "2 s"),
		[]row{free("heater.series", "a second contact in its circuit, which closes first and opens last", "there is none")}, contact("heater.series"),
		input("heater.feedback", "an input that is active while the element has voltage", "active high"),
		output("fan", "the relay of the chamber fan", "2 min", "20 s", "20 s"),
		output("smoke", "the relay of the smoke generator's pump", "1 min", "10 s", "10 s"),
		output("humidifier", "the relay of the humidifier", "20 s", "2 s", "2 s"),
		output("damper", "the relay of a damper's drive that a spring opens: on is driven shut", "30 s", "5 s", "5 s"),
		output("cooler", "the relay of a cooler, for stages with not above; its window counts for nothing", "10 min", "3 min", "5 min"),
		output("sounder", "the relay of the sounder", "20 s", "2 s", "2 s"),
		[]row{usual("sounder.rhythm", "lets it pause for what is not for now; not for a relay that wears or clacks", "no")},
		output("light", "the relay of a light that calls by sight", "20 s", "2 s", "2 s"),
		input("door", "an input that is active while the door is shut", "active high"),
		[]row{free("panel", "what hangs at the front", "there is none"),
			free("panel.display", "the bus of an SSD1306: I2C1 for one at address 0x3C, or SPI1.0", "there is none")},
		[]row{free("panel.data line", "the D/C of a display on SPI, high for what is shown and low for commands", "needed on SPI")}, lineRows("panel.data line", "active high"),
		input("panel.confirm", "the button that answers the hand step", "active low"),
		input("panel.silence", "the button that ends the noise", "active low"),
		input("panel.stop", "the button that stops the batch", "active low"),
		cabinetTail)
}
