package trip

import "time"

// Delays are common practice, no source.
var catalogue = [Count]Entry{
	ChamberHigh: {
		Name: "chamber-high", Priority: Now, Trips: true, Delay: time.Second, // two samples, not one
		Meaning: "The chamber is hotter than the cabinet's limit. The heater is off.",
		Action:  "If it burns: cut the mains, leave the door shut, call the fire service. Otherwise cut the mains if it still rises; reset when it has cooled.",
	},
	StageHot: {
		Name: "stage-hot", Priority: Now, Trips: true, Delay: time.Minute,
		Meaning: "The chamber is far hotter than the stage asks for. The heater is off.",
		Action:  "Look for burning fat, door shut; cut the mains if it still rises; then reset.",
		More:    []Advice{{With: SmokePump, Text: "Look at the smoke generator as well."}},
	},
	HeatWhenOff: {
		Name: "heat-when-off", Priority: Now, Trips: true,
		Meaning: "The chamber gets hotter although the heater is switched off: a welded relay, or a fire.",
		Action:  "Cut the mains by hand now. This program cannot: only the thermal cut-out or the main switch can.",
	},
	HeaterWelded: {
		Name: "heater-welded", Priority: Now, Trips: true, Delay: 3 * time.Second, Needs: HeatFeedback,
		Meaning: "The heater's feedback says on although it is switched off: its relay is welded.",
		Action:  "Cut the mains by hand now and have the relay replaced by someone qualified.",
	},
	OutputFailed: {
		Name: "output-failed", Priority: Now, Trips: true,
		Meaning: "An output could not be set, so nobody knows what is on. Everything is being switched off.",
		Action:  "Look whether the heater is cold; if not, cut the mains. Check the relay's wiring, then reset.",
	},
	NoHeat: {
		Name: "no-heat", Priority: Now, Trips: true, Suppresses: []Code{HeatShort, StageOvertime, StageOverdue},
		Meaning: "The heater has been fully on and the chamber does not follow: a dead element or fuse, an open door, or a chamber probe that hangs outside or in the meat.",
		Action:  "See that the chamber probe hangs in the chamber, the door is shut and the element gets warm, then reset.",
	},
	ChamberLost: {
		Name: "chamber-lost", Priority: Now, Trips: true, Delay: 30 * time.Second, Suppresses: []Code{ChamberDoubt, HumidityUnmeasured, WickDry, HumidityNotReached},
		Meaning: "No chamber probe gives a usable reading. The heater went off with the first missing one.",
		Action:  "Check the probe and its plug, then reset the trip and restart the batch.",
	},
	ChamberFrozen: {
		Name: "chamber-frozen", Priority: Now, Trips: true,
		Meaning: "A chamber probe has reported exactly the same value although the heater gave enough more or less than before to move it, or was on and off for three quarters of an hour, and then rested for five minutes or more to see it fall.",
		Action:  "Unplug and check the probe and its front end, then reset.",
		More:    []Advice{{With: ChamberPair, Text: "If it cannot be mended, leave it unplugged and say that you go on without it (mended chamber-doubt)."}},
	},
	ChamberDisagree: {
		Name: "chamber-disagree", Priority: Now, Trips: true, Delay: time.Minute, Needs: ChamberPair,
		Meaning:    "Two chamber probes differ so much that one of them lies.",
		Action:     "Hang them side by side and find the wrong one. Mend it, or unplug it and say that you go on with the other (mended chamber-disagree); then reset. Or end the batch.",
		Mended:     "The wrong one is unplugged; go on with the other",
		MendedWith: ChamberPair,
	},
	ChamberDoubt: {
		Name: "chamber-doubt", Priority: Soon, Delay: 30 * time.Second, Needs: ChamberPair,
		Meaning:    "One of the chamber probes gives no usable reading. Another still does.",
		Action:     "Check the probe and its plug before the other one fails too. If it cannot be mended, say that you go on without it (mended chamber-doubt).",
		Mended:     "Go on without the lost chamber probe",
		MendedWith: ChamberPair,
	},
	CoreLost: {
		Name: "core-lost", Priority: Soon, Delay: 30 * time.Second,
		Meaning: "A core that the batch relies on cannot be read. No stage can end by core.",
		Action:  "Measure the core with a thermometer of your own meanwhile.",
		More: []Advice{
			{With: CoreProbe, Text: "Check the probe and its plug; put it back into the middle of the piece."},
			{With: MoreCores, Text: "If it cannot be mended and the others sit in pieces as thick, say that you go on without it (mended core-lost)."},
			{With: CoreProbe, Without: MoreCores, Text: "If it cannot be mended, stop the batch."},
			{Without: CoreProbe, Text: "This cabinet has none to read it with: stop the batch, and take a product that waits for no core."},
		},
		Mended:     "Go on without the lost probe",
		MendedWith: MoreCores,
	},
	CoreOut: {
		Name: "core-out", Priority: Soon, Needs: CoreProbe, MendedWith: CoreProbe, Suppresses: []Code{CoreLost, CoreFrozen},
		Meaning: "A core reading jumped as no meat can: the probe has left it. Its readings do not count.",
		Action:  "Put the probe back into the middle of the thickest piece, then say so (mended core-out).",
		Mended:  "The probe is back in the meat",
	},
	CoreFrozen: {
		Name: "core-frozen", Priority: Soon, Needs: CoreProbe, Suppresses: []Code{CoreLost},
		Meaning: "A core probe has reported exactly the same value for longer than its piece can stand still, half an hour at the least, although the air around it is much hotter or colder.",
		Action:  "Unplug and check the probe and its front end.",
		More:    []Advice{{With: MoreCores, Text: "If it cannot be mended, leave it unplugged and say that you go on without it (mended core-lost)."}},
	},
	CoreTooHot: {
		Name: "core-too-hot", Priority: Now, Trips: true, Delay: time.Minute, Needs: CoreProbe, Suppresses: []Code{CoreLost},
		Meaning: "A core is hotter than the chamber has ever been in this batch: core and chamber probe are swapped, or one is wrong. Nobody knows how hot the chamber is; the heater is off.",
		Action:  "Check which probe is which, then reset.",
	},
	StepLate: {
		Name: "step-late", Priority: Soon,
		Meaning: "The controller was not called in time. The heater was off until it was.",
		Action:  "Look at the load of the computer; if it comes back, stop the batch.",
	},
	PowerLost: {
		Name: "power-lost", Priority: Soon, Suppresses: []Code{StepLate},
		Meaning: "The controller was away during the batch: power, a crash, or the program was started anew. What the product did meanwhile was not seen.",
		Action:  "Look at the product. After more than two minutes the batch waits for you to restart it, after four hours it is over; unseen time counts against it.",
		More:    []Advice{{With: CoreProbe, Text: "Look at core and come-up."}},
	},
	DoorOpen: {
		Name: "door-open", Priority: Later, Delay: 2 * time.Minute, Needs: DoorSwitch,
		Meaning: "The door is open, or its switch cannot be read. Heat, air, smoke and moisture wait.",
		Action:  "Shut the door. If it is shut, look at its switch and the wire.",
	},
	HeatShort: {
		Name: "heat-short", Priority: Soon,
		Meaning: "The heater is fully on and the chamber does not get any warmer, short of its setpoint.",
		Action:  "Look at the door's seal, at the damper and at the mains voltage. The batch goes on with the air that there is: stop it if that is too cold for the product.",
	},
	StageOvertime: {
		Name: "stage-overtime", Priority: Later,
		Meaning: "The stage lasts longer than its file expects. It goes on.",
		Action:  "Look at chamber, load and probes.",
	},
	PromptWaiting: {
		Name: "prompt-waiting", Priority: Later, Delay: 15 * time.Minute,
		Meaning: "A hand step has been waiting for its confirmation.",
		Action:  "Do it and confirm it.",
	},
	HumidityUnmeasured: {
		Name: "humidity-unmeasured", Priority: Later, Delay: 2 * time.Minute,
		Meaning: "The stage asks for a moisture of the air, and it is not measured. Nothing humidifies meanwhile.",
		Action:  "Mind the moisture by hand.",
		More: []Advice{
			{With: WetBulb, Text: "Wet the wick and fill its well; check the probe and its plug."},
			{Without: WetBulb, Text: "This cabinet has nothing to measure it with: leave what asks for moisture out of the product for the next batch."},
			{With: DrivenDamper, Text: "The damper is open meanwhile."},
		},
	},
	WickDry: {
		Name: "wick-dry", Priority: Later, Delay: 10 * time.Minute, Needs: WetBulb, Suppresses: []Code{HumidityUnmeasured, HumidityNotReached},
		Meaning: "The wet bulb reads like the dry one in a hot chamber: its wick is dry. Its readings do not count.",
		Action:  "Fill the well and change the wick.",
	},
	SmokeFuelLow: {
		Name: "smoke-fuel-low", Priority: Later, Needs: SmokePump, MendedWith: SmokePump,
		Meaning: "The smoke generator has had almost as much air as one filling lasts for.",
		Action:  "Refill it and say so (mended smoke-fuel-low), or let it go out.",
		Mended:  "It is filled and smoulders",
	},
	ComeUpLong: {
		Name: "come-up-long", Priority: Soon, Needs: CoreProbe,
		Meaning: "The core has been between 10 °C and 54.4 °C for five of the six hours it may take.",
		Action:  "Thin out the load, and see that the door is shut and the element gets warm; the setpoints of a batch under way are fixed, and after six hours the batch needs an expert's eye or the bin.",
	},
	ComeUpOver: {
		Name: "come-up-over", Priority: Soon, Needs: CoreProbe, Suppresses: []Code{ComeUpLong},
		Meaning: "The core took more than six hours from 10 °C to 54.4 °C. Toxin may have been made that no heat destroys.",
		Action:  "Do not eat or sell it on the word of this program; ask a process authority, or throw it away.",
	},
	ChillLong: {
		Name: "chill-long", Priority: Soon, Needs: CoreProbe,
		Meaning: "The core has used four fifths of the time that its cooling rule gives it, or that food which is served hot may be below 57.2 °C.",
		Action:  "Cool it faster: ice and stirring where it lies in water, colder air and more room between the pieces where it hangs. What is served hot: eat it now.",
	},
	ChillOver: {
		Name: "chill-over", Priority: Soon, Needs: CoreProbe, Suppresses: []Code{ChillLong},
		Meaning: "The core cooled more slowly than the rule allows that the product is held to, or what is served hot was below 57.2 °C for more than two hours.",
		Action:  "Go on cooling it as fast as you can; keep the batch apart and ask a process authority, or throw it away.",
	},
	RecordFailing: {
		Name: "record-failing", Priority: Soon, Delay: 30 * time.Second,
		Meaning: "The batch record cannot be written. The batch goes on, but what happens now is not kept.",
		Action:  "Free space on the disk or replace it; no new batch starts meanwhile.",
	},
	DiskLow: {
		Name: "disk-low", Priority: Later,
		Meaning: "The disk that keeps the batch records is nearly full.",
		Action:  "Move old records away before the next batch.",
	},
	ClockUnset: {
		Name: "clock-unset", Priority: Later,
		Meaning: "The computer does not know the time of day. Timers are not affected; dates in the record are wrong.",
		Action:  "Give it a network or a clock chip.",
	},
	ClockStepped: {
		Name: "clock-stepped", Priority: Later,
		Meaning: "The computer's time of day was changed during the batch. Timers are not affected.",
		Action:  "Mind it when you read times in the record.",
	},
	EmberOut: {
		Name: "ember-out", Priority: Soon, Delay: 3 * time.Minute, Needs: SmokePump | EmberProbe, MendedWith: SmokePump,
		Meaning: "The smoke generator has gone out, or never caught, or its probe has slipped out of the wood: it reads colder than wood that smoulders.",
		Action:  "Look at it and put the probe back into the wood; if it is out, fill it, light it again and say so (mended ember-out). The stage's time runs on: hold the batch if it must not.",
		Mended:  "It is filled and smoulders",
	},
	EmberUnknown: {
		Name: "ember-unknown", Priority: Later, Delay: time.Minute, Needs: SmokePump, MendedWith: SmokePump,
		Meaning: "Nobody knows whether the smoke generator smoulders: nothing says so, or it was without air for so long that it may have gone out.",
		Action:  "Look at it. Light it again if it is out and shall smoke, put it out if it burns and shall not, and say that you have (mended ember-unknown).",
		More:    []Advice{{With: EmberProbe, Text: "Check its probe and the plug."}},
		Mended:  "It has been seen to",
	},
	HeaterUnfed: {
		Name: "heater-unfed", Priority: Soon, Delay: 10 * time.Second, Needs: HeatFeedback,
		Meaning: "The heater is told on and its feedback says off: the cut-out or the limiter has opened, a fuse has blown, its relay is dead, or the feedback itself is.",
		Action:  "If the cut-out has opened, find out why before you reset it. Otherwise have fuse, relay and feedback looked at by someone qualified.",
	},
	AmbientLost: {
		Name: "ambient-lost", Priority: Later, Delay: time.Minute, Needs: RoomProbe,
		Meaning: "The probe in the room gives no usable reading. The room is taken to be as warm as the cabinet file says, also where it is judged whether the heater works and whether something heats by itself.",
		Action:  "Check the probe and its plug. If it is gone for good, take it out of the cabinet file between two batches, and write there how warm the room is.",
	},
	StageOverdue: {
		Name: "stage-overdue", Priority: Soon, Suppresses: []Code{StageOvertime},
		Meaning: "The stage, or all heat of the batch, has lasted far longer than its file expects. Where it heats, the heat ends in an hour.",
		Action:  "See why it does not end. Hold and restart the batch if it shall have two hours from then.",
		More:    []Advice{{With: CoreProbe, Text: "See that the core probe sits in the meat."}},
	},
	PromptOverdue: {
		Name: "prompt-overdue", Priority: Soon, Suppresses: []Code{PromptWaiting},
		Meaning: "A hand step has been waiting for its confirmation for an hour. Where it heats, the heat ends an hour from now.",
		Action:  "Do it and confirm it.",
	},
	HeatUnanswered: {
		Name: "heat-unanswered", Priority: Now, Trips: true, Suppresses: []Code{HeatShort, StageOvertime, StageOverdue},
		Meaning: "More heat has gone into the chamber than its reading shows: the probe reads too low, stands still or hangs outside, the door was open for long, the element gives much less than the cabinet file says, more wet food hangs there than it can heat, or the heat does not reach the air. Or nothing heats and the reading does not fall: it stands still, or the relay is welded or something burns. Nobody knows how hot the chamber is; the heater is off.",
		Action:  "Look at the chamber with another thermometer; if it is hot and does not cool, cut the mains. See that its probe hangs inside and is of the type in the cabinet file, that the door is shut and all of the element gets warm; then reset. Should a large load have done it, hang no more than the cabinet is meant for, or give its stage a slower ramp.",
	},
	CoreOutrunsChamber: {
		Name: "core-outruns-chamber", Priority: Now, Trips: true, Delay: time.Minute, Needs: CoreProbe,
		Meaning: "A core warms faster than a chamber of this reading can warm it. The chamber is hotter than its probe says, or the core probe does not sit in the middle, or the piece is much thinner than the product file says. The heater is off.",
		Action:  "Look at the chamber with another thermometer, and at where the core probe sits; put right what is wrong, then reset.",
	},
	HeatEnded: {
		Name: "heat-ended", Priority: Now, Suppresses: []Code{StageOverdue, StageOvertime, PromptOverdue, PromptWaiting},
		Meaning: "A hand step has waited for two hours while it heated, or the stage or the batch has heated far longer than its file expects. The heater is off and the batch is held.",
		Action:  "Look at the product: what lies half warm for hours spoils. Restart the batch, which gives two hours more, and confirm the hand step or see why the stage does not end; or stop it.",
	},
	AbsenceUnknown: {
		Name: "absence-unknown", Priority: Soon,
		Meaning: "The controller was away during the batch, and nobody knows for how long: the clock was not synchronised both before and after. The heater is off and the batch is held.",
		Action:  "Look at the product and its core. Say for how long the controller was away, the longest that it may have been (absence); more than four hours end the batch, after less restart it. Or stop it.",
	},
	CalibrationOff: {
		Name: "calibration-off", Priority: Soon,
		Meaning: "A probe in ice water reads below −1 °C, or comes to rest farther from 0 °C than it may be wrong: it or its wire is not what the cabinet file says, or there was no ice. A wrong wire type reads right at room temperature and wrong everywhere else.",
		Action:  "See that there is ice in the water and stir it. If there is, do not trust what this probe has shown: check its type and its wires, calibrate it (wiring calibrate), and show it in ice water again (ice PROBE). Say so (mended calibration-off) if there was no ice, or when the probe is mended.",
		Mended:  "The probe is right or mended: there was no ice, or it was exchanged",
	},
	EmberBurning: {
		Name: "ember-burning", Priority: Later, Delay: 20 * time.Minute, Needs: SmokePump | EmberProbe,
		Meaning: "The smoke generator still smoulders although nothing shall smoke.",
		Action:  "Do not leave it alone: put it out, or carry it outdoors onto something that cannot burn. It gives off carbon monoxide until it is cold.",
	},
	DisplayDead: {
		Name: "display-dead", Priority: Later, Delay: 30 * time.Second, Needs: Display,
		Meaning: "The display at the cabinet takes no picture: it is dark, or what it shows is old. Nothing else depends on it.",
		Action:  "Go by the page. Check the display's plug and its supply; it is tried again by itself.",
		More:    []Advice{{With: Buttons, Text: "Answer on the page: a button answers only what was shown."}},
	},
	ButtonStuck: {
		Name: "button-stuck", Priority: Later, Delay: 5 * time.Second, Needs: Buttons,
		Meaning: "A button at the cabinet is pressed without an end, chatters or cannot be read. It does nothing until it has been at rest.",
		Action:  "Free the button and dry it. Go by the page meanwhile.",
	},
	HumidityNotReached: {
		Name: "humidity-not-reached", Priority: Later, Delay: 30 * time.Minute, Needs: WetBulb,
		Meaning: "The air has been far drier than the stage asks for half an hour, or far moister where this program moves the damper: by 10 % of humidity, or 2.5 K of the wet bulb.",
		Action:  "Look at the wick first: one that is dry or only half wet reads too moist. Air that is too dry: shut the door well and stand a pan of water in the chamber.",
		More: []Advice{
			{With: Moistens, Text: "See that the humidifier has water and gives steam."},
			{With: DrivenDamper, Text: "See that the damper moves: without power it stands open, and driven it is shut."},
			{Without: DrivenDamper, Text: "See that the damper stands as the stage asks."},
		},
	},
	ChamberTooWarm: {
		Name: "chamber-too-warm", Priority: Soon, Delay: 15 * time.Minute,
		Meaning: "The chamber is warmer than the stage allows: too warm for cold smoke. Cheese sweats and melts, and raw fish spoils.",
		Action:  "Light no smoke, or put out what smoulders and hold the batch. Open the damper, stand ice in the chamber, or wait for a colder hour. Fish that was warm for long: keep it apart and do not eat it raw.",
		More:    []Advice{{With: Cooled, Text: "See that the cooler runs and that nothing ices up."}},
	},
	RelayWorn: {
		Name: "relay-worn", Priority: Later,
		Meaning: "The heater's relay has closed nine tenths as often as its maker rates it for, or more. A worn contact welds, and then heats on.",
		Action:  "Have it exchanged by someone qualified between two batches, and start its count anew (doctor says how).",
	},
	CabinetDrifted: {
		Name: "cabinet-drifted", Priority: Later,
		Meaning: "The heat that holds the chamber has changed by more than batches scatter. So say the last five batches of a product, held against the first five in as warm a room since the cabinet learned.",
		Action:  "If it takes more: look at the gasket of the door, at the element, whether all of it gets warm, and at the insulation. If it takes less: look at where the chamber probe hangs. Let the cabinet learn anew once it is mended (fumarium tune).",
	},
	CopiesFailing: {
		Name: "copies-failing", Priority: Later,
		Meaning: "Not every batch has its copy in the folder for copies: the record on this board is the only one of them.",
		Action:  "See that the stick or share is there and has room; doctor says what failed. It is tried again in an hour.",
	},
}
