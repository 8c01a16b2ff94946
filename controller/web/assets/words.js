// Words and figures: every text of the page comes from texts.json by its key, every figure
// in the units that this browser is set to.
const $ = id => document.getElementById(id);
const known = v => v !== null && v !== undefined;
const kept = {}; // what this browser is set to; the token is not among it
try { Object.assign(kept, JSON.parse(localStorage.getItem('show') || '{}')); } catch { /* as shipped */ }
const keep = changes => {
  Object.assign(kept, changes);
  try { localStorage.setItem('show', JSON.stringify(kept)); } catch { /* until the tab is closed */ }
};
if (!texts[kept.language]) kept.language = texts[navigator.language.slice(0, 2)] ? navigator.language.slice(0, 2) : 'en';

function t(key, values = {}) {
  const said = texts[kept.language][key];
  if (said === undefined) return key;
  return said.replace(/\{(\w+)\}/g, (_, name) => values[name] ?? '');
}
const has = key => texts[kept.language][key] !== undefined;

const show = (id, on) => { if ($(id).hidden === on) $(id).hidden = !on; };
const put = (id, s) => { if ($(id).textContent !== s) $(id).textContent = s; };

function make(tag, className, ...content) {
  const e = document.createElement(tag);
  if (className) e.className = className;
  e.append(...content.filter(c => c !== undefined && c !== ''));
  return e;
}

const drawn = {}; // what each list shows, so that it is rebuilt only when it changes
function rebuild(id, key, build) {
  const now = JSON.stringify([key, kept]);
  if (drawn[id] === now) return;
  $(id).replaceChildren(...build());
  drawn[id] = now; // not before: what could not be built is tried again
}

const capital = s => s.charAt(0).toUpperCase() + s.slice(1);
const percent = r => number(r * 100, 0) + '\u00a0%';

// What the controller says is English. The language file has it sentence by sentence, with #
// for a number, or by the format that it is made by, with Go's verbs for what is put in. What
// it does not have stays English, and is marked as such.
const sentenceEnd = /(?<=[.!?])\s+(?=[A-ZÄÖÜ])/;
const bare = s => s.replace(/ ?\(mended [\w-]+\)/g, '').replace(/\s+/g, ' ').trim(); // what the command line calls a claim is a button here
const phrases = (of = 'said ') => texts[of + kept.language] || {};
function phrase(text, of) {
  const numbers = [], words = phrases(of)[text.replace(/\d+(?:\.\d+)?/g, n => { numbers.push(n); return '#'; })];
  return words && words.replace(/#/g, () => numbers.shift());
}

// formats are those of a language, the one with the most words first.
const formatsOf = {}, verbs = /%%|(?:%(?:\[\d+\])?[.\d]*[a-zA-Z])+/g;
function formats() {
  return formatsOf[kept.language] ??= Object.entries(phrases()).filter(([key]) => key.replaceAll('%%', '').includes('%')).map(([key, words]) => {
    const literals = key.split(verbs).map(x => x.replace(/[.*+?^${}()|[\]\\]/g, '\\$&')), slots = [...key.matchAll(verbs)].map(m => m[0] === '%%' ? '%' : '(stage "[^"]*"|"[^"]*"|.+?)');
    return { find: new RegExp('^' + literals.map((x, i) => x + (slots[i] || '')).join('') + '$'), words, weight: literals.join('').replace(/[^a-z]/gi, '').length };
  }).sort((a, b) => b.weight - a.weight);
}

// byFormat takes one of many words, or one of few, which any sentence could be put into: not
// what a person wrote, such as a hand step.
const sentence = /\b(?:the|is|are|it|that|which|has|have|was|were|with|to)\b|\bno\b(?!\.)/;
function byFormat(text, few) {
  for (const { find, words, weight } of formats()) {
    const put = weight < 12 === few && text.match(find)?.slice(1);
    if (!put || few && /^[A-Z]/.test(text) && !turn(put[0]) || put.some(x => sentence.test(x.replace(/"[^"]*"|\([^()]*\)?/g, '')) && !turn(x.trim()))) continue;
    let n = 0;
    return words.replace(verbs, verb => {
      if (verb === '%%') return '%';
      const x = put[(verb.match(/\[(\d+)\]/)?.[1] ?? ++n) - 1], inner = x.trim();
      return x.replace(inner, () => turn(inner) || inner);
    });
  }
}

// joined takes a text at its semicolons: what, why, and what to do.
function joined(text) {
  for (let at = text.indexOf('; '); at > 0; at = text.indexOf('; ', at + 1)) {
    const parts = [text.slice(0, at), text.slice(at + 2)];
    if (parts[0].split('(').length === parts[0].split(')').length && parts.every(turn)) return parts.map(turn).join('; ');
  }
}

// sourced takes the source behind a text for what it is.
function sourced(text) {
  const [, said, source] = text.match(/^(.*?\S) \((.*)\)$/) || [], head = said && turn(said);
  return head && head + ' (' + (turn(source) || source) + ')';
}

// keyed takes the key of the product file before a text for what it is; a word alone behind
// one is a value of the file.
function keyed(text) {
  const [, what, of] = text.match(/^(.{1,80}?): (.* .*)$/) || [], rest = of && turn(of);
  return rest && (/[,:"]|^the |^stage |^parasites$/.test(what) && turn(what) || what) + ': ' + rest;
}

// found takes what check calls a finding, and where it stands, before what it found.
function found(text) {
  const [, asks, place, of] = text.match(/^(error|advice|note): ((?:.+?:\d+:\d+: )?(?:[a-z]+(?:-[a-z]+)*: )?)(.+)$/) || [], rest = of && turn(of);
  return rest && phrase(asks) + ': ' + place + rest;
}

const turned = new Map();
function turn(text) {
  const key = kept.language + text;
  if (!turned.has(key)) {
    if (turned.size > 4000) turned.clear();
    turned.set(key, undefined); // itself is none of its parts
    turned.set(key, phrase(text) || (texts['said ' + kept.language] && (found(text) || joined(text) || sourced(text) || byFormat(text, false) || keyed(text) || byFormat(text, true))));
  }
  return turned.get(key);
}

// tongue is the language in which said says a text.
const tongue = s => turn(bare(s)) || bare(s).split(sentenceEnd).every(turn) ? kept.language : 'en';

// said is what the controller says, in the units of this browser.
function said(s) {
  const text = bare(s);
  return spaced(turn(text) || text.split(sentenceEnd).map(x => turn(x) || x).join(' '));
}
const spaced = s => figured(s).replace(/(\d) (?=°[CF]|kg\b|g\b|K\b|lb\b|oz\b)/g, '$1\u00a0'); // no unit alone on a line

// speak puts such a text into an element.
function speak(e, text) {
  e.textContent = said(text);
  e.lang = tongue(text);
  return e;
}

// reason is why a rule is met or not: what was killed as a share of what is asked for, as all
// of the page has it, and no log10.
function reason(text) {
  const [, log, asked, rest] = text.match(/^(?:more than )?([\d.]+) log10 counted, ([\d.]+) required: (.*)$/) || [], p = speak(make('p', 'faint'), rest ?? text);
  if (rest && log / asked < 1) p.prepend(t('food.of', { done: Math.floor(log / asked * 100) }) + ': ');
  return p;
}

// wrote is what stands in a product file: names of stages, hand steps, what goes in. What the
// shipped files and the assistant write there has its words in this language, and what a
// person wrote stays as it is.
const wrote = text => spaced(phrase(text, 'written ') || text);
const tongueOf = text => phrase(text, 'written ') ? kept.language : 'en';

// noted is a note: the program's own in this language, a person's as it was written.
const noted = n => n.who === 'fumarium' ? n.text.trim().split('\n').map(said).join('\n') : n.text;

// logged is a line of the log. What in it was written by a person, or stands in a product
// file, is taken out of the sentence first and put back as it is.
function logged(e) {
  let form = bare(e.text);
  if (!texts['said ' + kept.language]) return spaced(form);
  const own = [], take = (before, part, put) => {
    const at = part ? form.indexOf(before + part) : -1;
    if (at < 0) return;
    form = form.slice(0, at) + before + '§' + form.slice(at + before.length + part.length);
    own.push(put);
  };
  const because = form.match(/^(?:the person orders ([\w-]+)|started all the same), because: (.*)$/), asks = form.split(' waits for the person: ')[1], bent = form.split(' changed by the person: ')[1];
  const command = e.command || because?.[1] || form.match(/^the simulated person answers: ([\w-]+)$/)?.[1];
  if (e.stage) take('stage ', e.stage, wrote(e.stage));
  if (e.kind === 'batch state') take('batch ', e.state, t('state.' + e.state));
  if (e.alarm) take('', e.alarm, headOf(e.alarm));
  if (e.kind === 'alarm raised') take('(', e.priority, t('prio.' + e.priority));
  if (command) take('', command, t('command.' + command));
  if (because) take('because: ', because[2], because[2]);
  if (e.kind === 'asked') take('person: ', asks, wrote(asks ?? ''));
  if (e.kind === 'bent') take('person: ', bent, (bent ?? '').split(', ').map(said).join(', '));
  const [, head, rest] = form.match(/^([^:]*§[^:]*|[^:]*because): (.*)$/) || [, form, ''], words = phrase(head);
  return (words ? words + (rest && ': ' + said(rest)) : said(form)).replace(/§/g, () => own.shift());
}

const clock = (time, seconds) => time.slice(11, seconds ? 19 : 16); // RFC 3339: the cabinet's own clock
function zoneShift() { // of that clock, in ms
  const zone = status.time.match(/(Z|[+-]\d\d:\d\d)$/)[0];
  return zone === 'Z' ? 0 : (zone[0] === '-' ? -1 : 1) * (Number(zone.slice(1, 3)) * 60 + Number(zone.slice(4, 6))) * 60000;
}
const zoned = ms => new Date(ms + zoneShift()).toISOString().slice(11, 16); // that clock at another moment
const moment = time => zoned(Date.parse(time));
// dayed is a clock time with the days from now until then; two of one day say it once.
const daysOff = time => { const day = at => Math.floor((Date.parse(at) + zoneShift()) / 86400000); return day(time) - day(status.time); };
const dayed = time => moment(time) + (daysOff(time) > 0 ? '\u00a0+' + daysOff(time) + t('day').replace(' ', '\u00a0') : '');
const firstOf = (from, to) => daysOff(from) === daysOff(to) ? moment(from) : dayed(from);

function duration(seconds) {
  const s = Math.max(0, Math.round(seconds));
  if (s < 60) return s + '\u00a0s';
  if (s < 600) return Math.floor(s / 60) + '\u00a0min' + (s % 60 && s < 300 ? ' ' + s % 60 + '\u00a0s' : '');
  const m = Math.round(s / 60);
  if (m < 60) return m + '\u00a0min';
  return Math.floor(m / 60) + '\u00a0h' + (m % 60 ? ' ' + m % 60 + '\u00a0min' : '');
}

// ends says what ends a stage, without the log10 that a product file counts in.
function ends(stage) {
  const confirms = stage.conditions.filter(c => c.kind === 'confirm').map(c => c.text.replace('you confirm: ', ''));
  const text = confirms.reduce((s, c) => s.replace('you confirm: ' + c, 'you confirm: §'), stage.ended_by);
  const parts = [[/, read as (.+?), for the probe may be wrong by ([^,]+?)(?=,? (?:and|or) |$)/g, 'end.read'], [/core reaches ([^,]+?)(?=,? (?:and|or) |, |$)/g, 'end.core'], [/core falls to ([^,]+?)(?=,? (?:and|or) |, |$)/g, 'end.falls'], [/lethality reaches [\d.]+/g, 'end.kill'],
    [/(\S[^,]*?) have passed/g, 'end.after'], [/you confirm: /g, 'end.confirm'], [/ and /g, 'end.and'], [/ or /g, 'end.or']];
  return parts.reduce((s, [find, key]) => s.replace(find, (_, what, by) => t(key, { what: typeof what === 'string' ? what : '', by })), spaced(bare(text))).replace(/§/g, () => wrote(confirms.shift()));
}

const letter = i => String.fromCharCode(97 + i % 26);
const numberOf = { now: '1', soon: '2', later: '3' };
const shapeOf = { now: '▲1', soon: '◆2', later: '●3', turn: '■', lost: '?' };

// sign draws what stands before a line: an alarm's shape with its number, a hand step's
// letter, or the dashed square of what is not known.
function sign(kind, content, outline) {
  const e = make('span', 'sign ' + kind + (outline ? ' outline' : ''));
  e.setAttribute('aria-hidden', 'true');
  if (!numberOf[kind]) {
    e.append(content ?? '?');
    return e;
  }
  const paths = { now: 'M20 3L38 36H2z', soon: 'M20 2L38 20 20 38 2 20z', later: 'M20 3a17 17 0 1 0 .01 0z' };
  const svg = svgMake('svg', { viewBox: '0 0 40 40' });
  const mark = svgMake('text', { x: 20, y: kind === 'now' ? 32 : 27, 'text-anchor': 'middle' });
  mark.append(numberOf[kind]);
  svg.append(svgMake('path', { d: paths[kind] }), mark);
  e.append(svg);
  return e;
}

function svgMake(tag, attributes = {}, ...content) {
  const e = document.createElementNS('http://www.w3.org/2000/svg', tag);
  for (const [name, value] of Object.entries(attributes)) e.setAttribute(name, value);
  e.append(...content);
  return e;
}
