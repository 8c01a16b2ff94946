// The live part of the page. It polls the status once a second, writes it into
// the page in place (a button must not vanish under a finger), and sends commands.
// Numbers count as live only while answers come and the controller goes on stepping.
const pollEvery = 1000, chartEvery = 10000; // ms
const lostAfter = 4;                         // s without an answer
const staleAfter = 5;                        // s without a step: the controller's own limit for a late one
const settle = 1500;                         // ms before a new question can be answered

const order = { now: '1', soon: '2', later: '3' };       // the number in an alarm's shape
const marks = { now: '▲1 ', soon: '◆2 ', later: '●3 ' }; // the same in a line of text

const $ = id => document.getElementById(id);
const show = (id, on) => { $(id).hidden = !on; };
const text = (id, s) => { if ($(id).textContent !== s) $(id).textContent = s; };
const known = v => v !== null && v !== undefined;
const number = (v, digits) => v.toFixed(digits).replace(/^-(?=[0.]+$)/, '').replace('-', '−'); // no minus sign on a zero
const fahrenheit = c => number(c * 9 / 5 + 32, 0) + ' °F';
const percent = r => number(r * 100, 0) + ' %';
const clock = t => t.slice(11, 19); // RFC 3339: the cabinet's own clock, as on the chart

function make(tag, className, content) {
  const e = document.createElement(tag);
  if (className) e.className = className;
  if (content !== undefined) e.textContent = content;
  return e;
}

function duration(seconds) {
  const s = Math.round(seconds);
  if (s < 60) return s + ' s';
  if (s < 600) return Math.floor(s / 60) + ' min' + (s % 60 ? ' ' + s % 60 + ' s' : '');
  const m = Math.round(s / 60);
  if (m < 60) return m + ' min';
  return Math.floor(m / 60) + ' h' + (m % 60 ? ' ' + m % 60 + ' min' : '');
}

let status = null;       // the last one that came
let answered = Date.now(); // when it came
let polling = false, busy = false, questionSince = 0;
const drawn = {};        // what each list shows, so that it is rebuilt only when it changes

function rebuild(id, key, build) {
  const now = JSON.stringify(key);
  if (drawn[id] === now) return;
  drawn[id] = now;
  $(id).replaceChildren(...build());
}

function reading(id, celsius, why, wanted) {
  const e = $(id);
  e.classList.toggle('unread', !known(celsius));
  e.classList.toggle('wanted', wanted);
  const key = known(celsius) ? number(celsius, 1) : why;
  if (drawn[id] !== key) {
    drawn[id] = key;
    e.replaceChildren(key, ...(known(celsius) ? [make('span', 'unit', ' °C')] : []));
  }
  text(id + '-f', known(celsius) ? fahrenheit(celsius) : '');
}

function draw(s) {
  show('world', s.world === 'simulated');
  text('pace', String(s.pace));
  text('cabinet', s.cabinet || 'Cabinet');
  text('product', s.product || '');
  text('state', s.state);
  text('time', clock(s.time));
  text('summary', s.summary.replaceAll(' °C', '\u00a0°C') + '.');

  const roles = s.probes.map(p => p.role);
  reading('chamber', s.chamber_celsius, 'not read', true);
  reading('core', s.core_celsius, roles.includes('core') ? 'not read' : 'no probe', s.stage !== null);
  text('setpoint', known(s.setpoint_celsius) ? 'setpoint ' + number(s.setpoint_celsius, 1) + ' °C' : 'no setpoint');
  const goal = s.stage && s.stage.conditions.find(c => c.kind === 'core');
  text('core-goal', goal ? 'until ' + goal.text : '');

  show('trend', s.state !== 'idle');
  const batch = s.state + s.product;
  if (drawn.chart !== batch) {
    drawn.chart = batch;
    drawChart();
  }
  drawFacts(s);
  drawPrompt(s);
  drawAlarms(s);
  drawStages(s);
  rebuild('probes', s.probes, () => s.probes.map(p => {
    const row = make('tr');
    row.append(make('td', '', p.name), make('td', 'small', p.role),
      known(p.celsius) ? make('td', '', number(p.celsius, 1) + ' °C') : make('td', p.status === 'not read' ? 'small' : 'fault', p.status));
    return row;
  }));
  rebuild('events', s.events.map(e => e.id), () => s.events.toReversed().map(e => {
    const li = make('li', e.kind.replaceAll(' ', '-'));
    li.append(make('time', '', clock(e.time)), e.priority ? make('b', '', marks[e.priority]) : '', e.text);
    return li;
  }));
  buttons();
}

function drawFacts(s) {
  const facts = [];
  const fact = (name, v, say) => { if (known(v)) facts.push([name, say(v)]); };
  fact('Heater duty', s.heater_duty_ratio, percent);
  fact('Heat ends', s.heat_left_seconds, v => 'in ' + duration(v) + ', if nobody does anything');
  for (const o of ['heater', 'fan', 'smoke', 'humidifier', 'sounder']) fact(o[0].toUpperCase() + o.slice(1), s.outputs[o], v => v ? '● on' : '○ off');
  fact('Damper', s.damper_ratio, v => percent(v) + ' open');
  fact('Wet bulb', s.wet_bulb_celsius, v => number(v, 1) + ' °C');
  fact('Ember', s.ember_celsius, v => number(v, 0) + ' °C');
  fact('Smoke fuel', s.smoke_fuel_ratio, v => 'about ' + percent(v) + ' left');
  fact('Humidity', s.humidity_ratio, percent);
  fact('Lethality', s.lethality_log10, v => s.lethality_capped ? 'more than ' + number(v, 0) + ' log₁₀' : number(v, 2) + ' log₁₀');
  fact('Come-up', s.come_up_seconds, duration);
  fact('Batch', s.elapsed_seconds, duration);
  rebuild('facts', facts, () => facts.map(([name, value]) => {
    const d = make('div');
    d.append(make('dt', '', name), make('dd', '', value));
    return d;
  }));
}

function drawPrompt(s) {
  show('prompt', s.prompt !== null);
  if (!s.prompt) { drawn.prompt = null; return; }
  if (drawn.prompt !== s.prompt.question) { // a second tap must not answer a new question
    drawn.prompt = s.prompt.question;
    questionSince = Date.now();
    setTimeout(buttons, settle + 50);
  }
  show('confirm', s.prompt.command === 'confirm');
  show('absence-form', s.prompt.command === 'absence');
  text('prompt-text', s.prompt.text);
  text('prompt-waiting', s.commands.includes(s.prompt.command) ? 'waiting for ' + duration(s.prompt.waiting_seconds) : 'restart the batch first');
}

function drawAlarms(s) {
  show('abnormal', s.alarms.length > 0 || s.trip !== null);
  show('trip', s.trip !== null);
  if (s.trip) {
    const listed = s.alarms.some(a => a.code === s.trip.code);
    text('trip-text', 'Tripped by ' + s.trip.code + '. It stays off until you reset this.' + (listed ? '' : ' ' + s.trip.meaning + ' ' + s.trip.action));
  }
  rebuild('alarms', s.alarms, () => s.alarms.map(a => {
    const li = make('li', a.priority + ' ' + a.state), said = make('div');
    said.append(make('b', '', a.code + ', ' + a.priority + ', ' + a.state), make('p', '', a.meaning), make('p', 'small', a.action));
    li.append(make('span', 'shape', order[a.priority]), said);
    const heard = a.state === 'acknowledged'; // heard first, mended then
    const says = heard ? a.mended : 'Acknowledge';
    if (says) {
      const b = make('button', '', says);
      b.type = 'button';
      b.setAttribute('aria-label', says + ': ' + a.code);
      b.addEventListener('click', () => send({ command: heard ? 'mended' : 'acknowledge', alarm: a.code }));
      if (heard) { // a second tap for silence must not make the claim
        b.disabled = true;
        setTimeout(() => { b.disabled = false; }, settle);
      }
      li.append(b);
    }
    return li;
  }));
}

function drawStages(s) {
  show('plan', s.stages.length > 0);
  rebuild('stages', [s.stages, s.stage], () => s.stages.map((stage, i) => {
    const li = make('li', stage.state), head = make('p');
    head.append(make('span', 'name', stage.name), ' ',
      make('span', 'small', (known(stage.chamber_celsius) ? number(stage.chamber_celsius, 1) + ' °C' : 'heater off') + (stage.smoke ? ', smoke' : '')));
    li.append(head);
    if (stage.state !== 'current' || !s.stage || s.stage.index !== i) {
      li.append(make('p', 'small', 'until ' + stage.ended_by));
      return li;
    }
    li.setAttribute('aria-current', 'step');
    for (const c of s.stage.conditions) {
      li.append(make('p', 'small', 'until ' + c.text + (known(c.now) ? ' — now ' + c.now : '')));
      if (known(c.progress_ratio)) {
        const bar = make('progress');
        bar.value = c.progress_ratio;
        bar.setAttribute('aria-label', c.text);
        li.append(bar);
      }
    }
    return li;
  }));
}

function buttons() {
  if (!status) return;
  const can = c => !busy && status.commands.includes(c);
  $('confirm').disabled = !can('confirm') || Date.now() - questionSince < settle;
  $('absence').disabled = !can('absence') || !$('away').value.trim() || Date.now() - questionSince < settle;
  for (const c of ['hold', 'restart', 'stop', 'reset']) $(c).disabled = !can(c);
  show('controls', ['hold', 'restart', 'stop'].some(c => status.commands.includes(c)) || !status.commands.includes('start'));
  show('heat-returns', status.commands.includes('restart'));
  show('smoulders', ['hold', 'stop'].some(c => status.commands.includes(c)) || ['stopping', 'stopped', 'aborting', 'aborted'].includes(status.state));
  show('start', status.commands.includes('start'));
  $('go').disabled = !can('start') || !$('read').checked || !$('choice').value;
}

function freshness() {
  const silent = (Date.now() - answered) / 1000;
  let why = '';
  if (silent > lostAfter) {
    why = 'No answer since ' + duration(silent) + '. What you see is old; look at the cabinet itself.';
  } else if (status && status.stopping) {
    why = 'The daemon is switching off. Nothing is controlled any more.';
  } else if (status && !known(status.age_seconds)) {
    why = 'Nobody knows how old these numbers are. Look at the cabinet itself.';
  } else if (status && status.age_seconds > staleAfter) {
    why = 'The controller has made no step for ' + duration(status.age_seconds) + '. What you see is old; look at the cabinet itself.';
  }
  document.body.classList.toggle('lost', why !== '');
  document.body.classList.toggle('waiting', status === null);
  show('lost', why !== '');
  text('lost', why);
}

async function poll() {
  if (polling) return;
  polling = true;
  try {
    const answer = await fetch('/api/status', { signal: AbortSignal.timeout(3000) });
    if (answer.ok) {
      status = await answer.json();
      answered = Date.now();
      draw(status);
    }
  } catch { /* freshness says how long it has been */ }
  polling = false;
  freshness();
}

function drawChart() {
  if ($('trend').hidden) return;
  const wide = Math.max(300, Math.min(1600, Math.round($('trend').clientWidth - 24)));
  const next = new Image();
  next.onload = () => { $('chart').src = next.src; show('chart', true); };
  next.src = '/chart.svg?width=' + wide + '&at=' + Date.now();
}

function say(message) {
  text('message', message);
  show('message', message !== '');
}

let unsent = null; // the command that waits for the token

function askToken(body, why) {
  unsent = body;
  text('token-why', why);
  $('token').value = '';
  $('ask-token').showModal();
}

async function send(body) {
  const token = sessionStorage.getItem('token');
  if (!token) {
    askToken(body, 'Changing a batch needs the token that the daemon was given. This browser tab keeps it until it is closed.');
    return;
  }
  busy = true;
  buttons();
  say('');
  try {
    const answer = await fetch('/api/commands', {
      method: 'POST', signal: AbortSignal.timeout(15000),
      headers: { 'Content-Type': 'application/json', 'Authorization': 'Bearer ' + token },
      body: JSON.stringify(body),
    });
    const said = await answer.json();
    if (answer.status === 401) {
      sessionStorage.removeItem('token');
      askToken(body, said.detail);
    } else if (!answer.ok) {
      say('Not done (' + body.command + '): ' + said.detail + '.');
    } else {
      if (!said.recorded) say('Done (' + body.command + '), but not on disk: ' + said.unrecorded + '.');
      if (body.command === 'start') $('read').checked = false; // the next batch asks again
    }
  } catch {
    say('No answer to ' + body.command + '. Nobody knows whether it was done; look at the cabinet.');
  }
  busy = false;
  await poll();
  buttons();
}

for (const c of ['hold', 'restart', 'reset']) $(c).addEventListener('click', () => send({ command: c }));
$('confirm').addEventListener('click', () => send({ command: 'confirm', question: drawn.prompt }));
$('absence-form').addEventListener('submit', e => {
  e.preventDefault();
  if (!$('absence').disabled) send({ command: 'absence', question: drawn.prompt, for: $('away').value.trim() });
});
$('away').addEventListener('input', buttons);
$('go').addEventListener('click', () => {
  const order = { command: 'start', product: $('choice').value };
  const stuffed = new Date($('stuffed').value); // local time of the browser
  if (!Number.isNaN(stuffed.getTime())) order.stuffed_at = stuffed.toISOString().replace(/\.\d+Z$/, 'Z');
  if ($('reason').value.trim()) order.reason = $('reason').value.trim();
  send(order);
});
$('read').addEventListener('change', buttons);
$('choice').addEventListener('change', buttons);
$('stop').addEventListener('click', () => $('ask-stop').showModal());
$('keep').addEventListener('click', () => $('ask-stop').close());
$('really-stop').addEventListener('click', () => { $('ask-stop').close(); send({ command: 'stop' }); });
$('token-cancel').addEventListener('click', () => { unsent = null; $('ask-token').close(); });
$('token-form').addEventListener('submit', e => {
  e.preventDefault();
  sessionStorage.setItem('token', $('token').value.trim());
  $('ask-token').close();
  if (unsent) send(unsent);
});

poll();
setInterval(poll, pollEvery);
setInterval(freshness, 500);
setInterval(drawChart, chartEvery);
addEventListener('resize', drawChart);
document.addEventListener('visibilitychange', () => { if (!document.hidden) { freshness(); poll(); drawChart(); } });
