package said

// kinds are the kinds of events of the daemon, which home automation wants to know before.
var kinds = []string{"said", "batch state", "stage began", "stage ended", "asked", "answered", "alarm raised", "alarm returned", "tripped", "trip reset",
	"refused", "was away", "bent", "abandoned", "probe parted"}

// The words of the open convention by which home automation finds devices over MQTT: a device
// with its components under PREFIX/device/ID/config, each with a platform. They are from memory
// of its published description.
type (
	description struct {
		Device     device               `json:"device"`
		Origin     origin               `json:"origin"`
		Components map[string]component `json:"components"`
		QoS        int                  `json:"qos"`
	}
	device struct {
		Identifiers []string `json:"identifiers"`
		Name        string   `json:"name"`
		Version     string   `json:"sw_version,omitempty"`
	}
	origin struct {
		Name    string `json:"name"`
		Version string `json:"sw_version,omitempty"`
	}
	component struct {
		Platform          string   `json:"platform"`
		UniqueID          string   `json:"unique_id"`
		Name              string   `json:"name"`
		StateTopic        string   `json:"state_topic"`
		ValueTemplate     string   `json:"value_template,omitempty"`
		AttributesTopic   string   `json:"json_attributes_topic,omitempty"`
		DeviceClass       string   `json:"device_class,omitempty"`
		Unit              string   `json:"unit_of_measurement,omitempty"`
		StateClass        string   `json:"state_class,omitempty"`
		EventTypes        []string `json:"event_types,omitempty"`
		PayloadOn         string   `json:"payload_on,omitempty"`
		PayloadOff        string   `json:"payload_off,omitempty"`
		AvailabilityTopic string   `json:"availability_topic"`
		ExpireAfter       int      `json:"expire_after,omitempty"`
	}
)

// outputNames are what people call the outputs.
var outputNames = []struct{ output, name string }{
	{"heater", "Heater"}, {"fan", "Fan"}, {"smoke", "Smoke"}, {"humidifier", "Humidifier"}, {"sounder", "Sounder"},
}

// described tells what can be read of the cabinet, and nothing that could be written.
func (t *Teller) described(s *Status) description {
	id := "fumarium-" + t.ID
	name := s.Cabinet
	if s.World != "real" {
		name += " (simulated)"
	}
	all := map[string]component{}
	add := func(key, name string, c component) {
		c.UniqueID, c.Name, c.AvailabilityTopic = id+"-"+key, name, t.Topic("availability")
		if c.StateTopic == "" {
			c.StateTopic = t.Topic("state")
		}
		if c.Platform != "event" { // the convention lets no event expire
			c.ExpireAfter = int(expires.Seconds())
		}
		all[key] = c
	}
	sensor := func(key, name, template, class, unit string) {
		c := component{Platform: "sensor", ValueTemplate: "{{ " + template + " }}", DeviceClass: class, Unit: unit}
		if unit != "" {
			c.StateClass = "measurement"
		}
		add(key, name, c)
	}
	sensor("state", "State", "value_json.state", "", "")
	sensor("stage", "Stage", "value_json.stage", "", "")
	sensor("product", "Product", "value_json.product", "", "")
	sensor("hand-step", "Hand step", "value_json.prompt[:255] if value_json.prompt else None", "", "")
	sensor("chamber", "Chamber", "value_json.chamber_celsius", "temperature", "°C")
	sensor("core", "Core", "value_json.core_celsius", "temperature", "°C")
	sensor("setpoint", "Setpoint", "value_json.setpoint_celsius", "temperature", "°C")
	sensor("heater-duty", "Heater duty", "(value_json.heater_duty_ratio * 100) | round(0) if value_json.heater_duty_ratio is not none else None", "", "%")
	sensor("finish", "Finish", "value_json.finish", "timestamp", "")
	sensor("alarms", "Alarms", "value_json.alarms", "", "")
	sensor("alarm", "Most pressing alarm", "value_json.alarm[:255] if value_json.alarm else None", "", "")
	binary := func(key, name, template, class string) {
		add(key, name, component{Platform: "binary_sensor", ValueTemplate: "{{ " + template + " }}", DeviceClass: class, PayloadOn: "yes", PayloadOff: "no"})
	}
	binary("tripped", "Tripped", "'yes' if value_json.trip else 'no'", "problem")
	binary("wants-you", "A person is wanted", "'yes' if value_json.prompt or value_json.alarms else 'no'", "")
	for _, o := range outputNames {
		if s.Outputs[o.output] != nil {
			binary(o.output, o.name, "'yes' if value_json.outputs."+o.output+" else 'no' if value_json.outputs."+o.output+" is not none else None", "power")
		}
	}
	add("event", "Event", component{Platform: "event", StateTopic: t.Topic("event"), EventTypes: kinds})
	return description{Device: device{[]string{id}, name, t.Version}, Origin: origin{"fumarium-mqtt", t.Version}, Components: all, QoS: 1}
}
