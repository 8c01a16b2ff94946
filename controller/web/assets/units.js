// Figures in the units that this browser is set to. What the controller says is SI; its
// finished texts are brought into these units as profile/quantity does it for the command
// line, and a test holds the two against each other.
const fahrenheit = () => kept.units === 'F';
const pounds = () => (kept.mass || (fahrenheit() ? 'lb' : 'kg')) === 'lb';
const unit = () => fahrenheit() ? '°F' : '°C';
const inUnits = celsius => fahrenheit() ? celsius * 9 / 5 + 32 : celsius;
const speck = 1e-6; // more than the conversion loses to binary fractions

const number = (v, digits) => v.toFixed(digits).replace(/^-(?=[0.]+$)/, '').replace('-', '−'); // no minus sign on a zero

// degrees is a figure without the unit: one decimal, none from 100 up. In °F what was
// measured is rounded to the side that is no better than it is: 'least' down, 'most' up.
function degrees(celsius, side) {
  const v = inUnits(celsius), digits = Math.abs(v) >= 99.95 ? 0 : 1;
  if (!side || !fahrenheit()) return number(v, digits);
  const tens = 10 ** digits;
  return number((side === 'least' ? Math.floor(v * tens + speck) : Math.ceil(v * tens - speck)) / tens, digits);
}
const temperature = (celsius, side) => degrees(celsius, side) + '\u00a0' + unit();
const whole = celsius => number(inUnits(celsius), Number.isInteger(inUnits(celsius)) ? 0 : 1);
const apart = kelvin => number(fahrenheit() ? kelvin * 9 / 5 : kelvin, 0) + '\u00a0' + (fahrenheit() ? '°F' : 'K');

// ticks are round figures of the unit between two temperatures, in °C: four or five at most.
function ticks(low, high, few) {
  const span = inUnits(high) - inUnits(low), every = [10, 20, 40, 50, 100, 200].find(e => span / e <= (few ? 4 : 5)) || 500, list = [];
  for (let v = Math.ceil(inUnits(low) / every - speck) * every; v <= inUnits(high) + speck; v += every) list.push(fahrenheit() ? (v - 32) * 5 / 9 : v);
  return list;
}

// plain writes v with at most so many decimals.
const plain = (v, digits) => {
  const scale = 10 ** digits, rounded = Math.sign(v) * Math.round(Math.abs(v) * scale) / scale;
  return String(rounded === 0 ? 0 : rounded);
};

function massText(kilograms) {
  if (!pounds()) return Math.abs(kilograms) < 1 ? plain(kilograms * 1000, 1) + ' g' : plain(kilograms, 3) + ' kg';
  const ounces = kilograms / 0.45359237 * 16, size = Math.abs(ounces);
  if (size < 0.9995) return plain(ounces, 3) + ' oz';
  if (size < 15.995) return plain(ounces, 2) + ' oz';
  const tenths = Math.round(size * 10), whole = Math.floor(tenths / 160), rest = tenths - whole * 160;
  return (ounces < 0 ? '-' : '') + whole + ' lb' + (rest > 0 ? ' ' + plain(rest / 10, 1) + ' oz' : '');
}
const mass = kilograms => massText(kilograms).replaceAll(' ', '\u00a0');

// A limit is rounded to its strict side, as its words say it.
const floorBefore = /(?:at least|not under|not below|reaches) $/, floorAfter = /^ or (?:more|hotter|warmer|higher|above)\b/;
const capBefore = /(?:at most|at or below|below|under|limit|not over|not above|falls to|up to) $/, capAfter = /^ or (?:less|colder|cooler|lower|below)\b/;
function strict(before, after) {
  if (floorBefore.test(before) || floorAfter.test(after)) return v => Math.ceil(v - speck);
  if (capBefore.test(before) || capAfter.test(after)) return v => Math.floor(v + speck);
  return v => Math.sign(v) * Math.round(Math.abs(v));
}

function fahrenheitText(celsius, decimals, round) {
  const digits = Math.max(1, decimals.length), tens = 10 ** digits;
  let f = celsius * 9 / 5 + 32;
  const published = Math.round(f / 5) * 5; // limits are such: 54.4 °C is 130 °F
  if (Math.abs(f - published) <= 0.9 / tens + speck) f = published;
  f = round(f * tens) / tens;
  return decimals.endsWith('0') ? f.toFixed(digits) : plain(f, digits);
}

const figures = /([-−]?\d+(?:\.\d+)?(?:(?: to | \/ | and | or | - |–)[-−]?\d+(?:\.\d+)?)*)[ \u00a0]?(°C\/h|°C\/min|K\/h|K\/min|°C|K|kg|g)( \(([-−]?\d+(?:\.\d+)?(?: to [-−]?\d+(?:\.\d+)?)?) °F\))?/g;

// figured is a finished text with its figures in these units. What stands in quotation marks
// is somebody's word, and stays.
function figured(text) {
  if (!fahrenheit() && !pounds()) return text;
  return text.replace(figures, (all, numbers, of, pair, both, at) => {
    const end = at + all.length - (pair ? pair.length : 0), before = text.slice(0, at), weighs = of === 'kg' || of === 'g';
    if (/[\p{L}\d.,:=@_#/+-]$/u.test(before) || /^[\p{L}\d/·²³°_]/u.test(text.slice(end))) return all;
    if (before.slice(before.lastIndexOf('\n') + 1).split('"').length % 2 === 0) return all;
    if (weighs ? !pounds() : !fahrenheit()) return all;
    if (pair && of === '°C') return both + ' °F';
    const round = strict(before.slice(-16), text.slice(end));
    const shown = numbers.replace(/[-−]?\d+(?:\.\d+)?/g, one => {
      const v = Number(one.replace('−', '-')), decimals = one.split('.')[1] || '', digits = Math.max(1, decimals.length);
      if (weighs) return massText(of === 'kg' ? v : v / 1000);
      if (of === '°C') return fahrenheitText(v, decimals, round);
      return decimals ? (v * 9 / 5).toFixed(digits) : plain(v * 9 / 5, digits);
    });
    return shown + (weighs ? '' : of === 'K' ? ' °F' : of === '°C' ? ' °F' : of.replace('°C', ' °F').replace('K', ' °F')) + (pair || '');
  });
}
