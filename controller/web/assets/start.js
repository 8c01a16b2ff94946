// The start sheet: what to weigh, how long it yet rests, what a rehearsal of this load in
// this room comes to, and what speaks against a start. Own products are brought here.
let sheet = null, trial = null; // of the product that is chosen; null while they are not known
let sheetAsked = 0, sheetTimer = 0;

// post sends what only who may start may send. What it needs a token for waits until there
// is one.
async function post(path, body, again, why = '') {
  const headers = { 'Content-Type': 'application/json' }, token = sessionStorage.getItem('token');
  if (token) headers.Authorization = 'Bearer ' + token;
  const answer = await fetch(path, { method: 'POST', signal: AbortSignal.timeout(noAnswer), headers, body: JSON.stringify(body) });
  const reply = await answer.json();
  if (answer.status === 401) {
    sessionStorage.removeItem('token');
    if (again) askToken(again, token ? reply.detail : why);
  }
  return { ok: answer.ok, status: answer.status, reply };
}

const mayAsk = () => paired() || Boolean(sessionStorage.getItem('token'));
const stuffedAt = () => {
  const at = new Date($('stuffed').value); // local time of the browser
  return Number.isNaN(at.getTime()) ? '' : at.toISOString().replace(/\.\d+Z$/, 'Z');
};

// chosen is the product of a start, for as much meat as there is.
function chosen() {
  const o = { product: $('choice').value };
  if ($('meat').value.trim()) o.meat = $('meat').value.trim();
  return o;
}

async function fillChoice(pick) {
  try {
    const got = await fetch('/api/products', { signal: AbortSignal.timeout(5000) });
    if (!got.ok) return;
    const list = await got.json(), was = pick || $('choice').value;
    rebuild('choice', [list], () => [[t('start.own'), list.own], [t('start.shipped'), list.products.filter(p => !list.own.includes(p))]].filter(g => g[1].length).map(([label, names]) => {
      const group = make('optgroup', '', ...names.map(n => make('option', '', n)));
      group.label = label;
      return group;
    }));
    if (list.products.includes(was)) $('choice').value = was;
  } catch { /* what the page came with stands */ }
}

// lookUp asks for the sheet of what is chosen, and then for its rehearsal.
function lookUp(now) {
  clearTimeout(sheetTimer);
  sheet = trial = null;
  drawStart();
  if (!mayAsk() && !now || !$('choice').value) return;
  const mine = ++sheetAsked;
  sheetTimer = setTimeout(async () => {
    const stuffed = stuffedAt(), order = chosen();
    try {
      const got = await post('/api/start-sheet', stuffed ? { ...order, stuffed_at: stuffed } : order, () => lookUp(true), t('start.token'));
      if (mine !== sheetAsked || got.status === 401) return;
      delete says.start;
      if (!got.ok) says.start = t('not done', { why: said(got.reply.detail) });
      sheet = got.ok ? got.reply : null;
      draw();
      if (sheet) await tryOut(order, mine);
    } catch { /* the next change asks again */ }
  }, now ? 0 : 400);
}

async function tryOut(order, mine) {
  for (let i = 0; i < 20; i++) {
    const got = await post('/api/rehearse', order);
    if (mine !== sheetAsked) return;
    if (got.status === 503 && !String(got.reply.detail).includes('longer')) { // another one is under way
      await new Promise(next => setTimeout(next, 3000));
      continue;
    }
    trial = got.ok ? got.reply : { missing: got.reply.detail, notes: got.reply.findings };
    drawStart();
    return;
  }
}

// restOf says how long it yet rests, by the clock of this browser.
function restOf(rest) {
  if (!rest.needed_seconds) return { met: true, text: t('rest.none') };
  const needed = duration(rest.needed_seconds), stuffed = Date.parse(stuffedAt());
  if (Number.isNaN(stuffed)) return { met: false, text: t('rest.unsaid', { needed }) };
  const left = rest.needed_seconds - (Date.now() - stuffed) / 1000;
  if (left <= 0) return { met: true, text: t('rest.over', { needed }) };
  const until = new Date(Date.now() + left * 1000), day = new Intl.DateTimeFormat(kept.language, { weekday: 'long', hour: '2-digit', minute: '2-digit', hour12: false }).format(until);
  return { met: false, text: t('rest.left', { left: duration(Math.ceil(left / 60) * 60), until: day }) };
}

// gateOf lists what a start asks, each met or not.
function gateOf() {
  const rows = [], rest = restOf(sheet.rest);
  for (const d of sheet.doubts) rows.push(['not-met', '✗', said(d), tongue(d)]);
  if (!sheet.doubts.length) rows.push(['met', '✓', t('gate.probes')]);
  for (const f of sheet.findings) rows.push(['not-met', '✗', said(f), tongue(f)]);
  if (!sheet.findings.length) rows.push(['met', '✓', t('gate.check')]);
  rows.push([rest.met ? 'met' : 'not-met', rest.met ? '✓' : '✗', rest.text]);
  for (const n of trial?.notes || []) rows.push(['open', '·', said(n), tongue(n)]);
  rows.push(trial === null ? ['open', '·', t('gate.rehearsing')] : trial.missing ? ['not-shown', '?', said(trial.missing), tongue(trial.missing)] : ['met', '✓', t('gate.rehearsed', { n: trial.tried })]);
  rows.push($('read').checked ? ['met', '✓', t('gate.read')] : ['open', '·', t('gate.unread')]);
  return rows;
}

function drawStart() {
  show('look', !sheet && !mayAsk());
  show('sheet', sheet !== null);
  if (!sheet) return;
  put('sheet-mass', t('sheet.mass', { meat: mass(sheet.meat_kilograms), batch: mass(sheet.batch_kilograms) }));
  rebuild('weigh', sheet.weigh, () => sheet.weigh.map(w => {
    const row = make('tr', '', make('th', '', wrote(w.name)), make('td', 'faint', w.part === 'other' ? '' : t('part.' + w.part)), make('td', '', mass(w.kilograms)));
    row.firstChild.scope = 'row';
    return row;
  }));
  const rows = gateOf();
  rebuild('gate', rows, () => rows.map(([cls, mark, text, english]) => {
    const words = make('span', '', text), sign = make('span', 'mark', mark);
    sign.setAttribute('aria-hidden', 'true');
    if (english) words.lang = english;
    return make('li', cls, sign, words);
  }));
  const against = rows.filter(r => r[0] === 'not-met').length;
  put('gate-title', sheet.refused ? t('gate.refused') : against === 0 ? t('gate.open') : against === 1 ? t('gate.reason') : t('gate.reasons', { n: against }));
  drawTrial();
}

// drawTrial draws the rehearsed course: chamber thin, core thick, stages as bands.
function drawTrial() {
  show('trial', Boolean(trial && trial.plan && trial.points.length));
  if ($('trial').hidden) return;
  const p = trial.plan, wide = $('trial').clientWidth;
  put('trial-done', p.finish ? doneText(p) : t('no finish'));
  rebuild('trial-steps', p.hand_steps, () => p.hand_steps.map((h, i) => make('li', '', sign('step ahead', letter(i)), make('span', '', make('b', '', t('about', { time: dayed(h.at) }) + ' '), wrote(h.text)))));
  rebuild('trial-curve', [trial.points.length, p.stages, wide], () => wide < 100 ? [] : [curveOf(p, trial.points, wide)]);
}

function curveOf(plan, points, wide) {
  const bands = plan.stages.filter(s => s.start && s.end).map(s => ({ name: wrote(s.name), from: Date.parse(s.start), to: Date.parse(s.end), heat: s.place === 'chamber', state: 'ahead' }));
  const high = 110, top = 26, left = 34, svg = svgMake('svg', { viewBox: `0 0 ${wide} ${top + high + 24}`, width: wide, height: top + high + 24, 'aria-hidden': 'true' });
  if (!bands.length) return svg;
  const a = axis(bands, wide - left - 8), x = ms => left + a.x(ms), start = a.from;
  const values = points.flatMap(q => [q.chamber_celsius, q.core_celsius]).filter(known);
  const most = Math.max(20, ...values.map(v => Math.ceil((v + 5) / 20) * 20)), least = Math.min(0, ...values), y = v => top + high - (v - least) / (most - least) * high;
  const add = (tag, attributes, ...c) => svg.append(svgMake(tag, attributes, ...c));
  add('rect', { class: 'plot', x: left, y: top, width: wide - left - 8, height: high });
  for (const v of ticks(least, most, true)) {
    add('line', { class: 'grid', x1: left, x2: wide - 8, y1: y(v), y2: y(v) });
    add('text', { class: 'tick', x: left - 4, y: y(v) + 5, 'text-anchor': 'end' }, number(inUnits(v), 0));
  }
  for (const b of bands) {
    const from = x(b.from), w = Math.max(1, x(b.to) - from);
    add('rect', { class: 'band ahead', x: from, y: 2, width: w, height: 22 });
    if (w > b.name.length * 8.2 + 4) add('text', { class: 'stage', x: from + w / 2, y: 18, 'text-anchor': 'middle' }, b.name);
  }
  for (const name of ['chamber', 'core']) {
    let d = '', down = false;
    for (const q of points) {
      const at = start + q.seconds * 1000, v = q[name + '_celsius'];
      if (!known(v) || at > a.to) { down = false; continue; }
      d += (down ? 'L' : 'M') + x(at).toFixed(1) + ' ' + y(v).toFixed(1);
      down = true;
    }
    if (d) add('path', { class: 'curve ' + name, d });
  }
  let last = -99;
  for (const at of [a.from, ...bands.map(b => b.to)]) {
    const px = Math.min(Math.max(x(at), left), wide - 26);
    if (px - last < 56) continue;
    last = px;
    add('text', { class: 'clock', x: px, y: top + high + 18, 'text-anchor': 'middle' }, zoned(at));
  }
  return svg;
}

// bringFile sends a file, and shows all that is wrong with it where it can be seen.
async function bringFile(file, replace) {
  const body = { file: file.name, product_yaml: await file.text() };
  if (replace) body.replace = 'yes';
  await keepProduct(body, 'bring', () => bringFile(file, replace), () => bringFile(file, true));
}

// keepProduct puts a product among one's own, and picks it.
async function keepProduct(body, area, again, over) {
  show(area + '-over', false);
  try {
    const got = await post('/api/products', body, again, t('start.token'));
    if (got.status === 401) return false;
    const found = got.reply.findings || [];
    rebuild(area + '-findings', found, () => found.map(f => speak(make('li', ''), f)));
    show(area + '-findings', found.length > 0);
    if (got.ok) {
      await fillChoice(got.reply.name);
      refused(area, t(found.length ? 'bring.advised' : 'bring.kept', { name: got.reply.name }));
      lookUp(true);
      return true;
    }
    show(area + '-over', got.reply.excusable === true);
    $(area + '-over').onclick = over;
    refused(area, capital(said(got.reply.detail)));
  } catch {
    refused(area, t('no answer'));
  }
  return false;
}

function startEvents() {
  press('look', () => lookUp(true));
  press('bring', () => $('bring-file').click());
  $('bring-file').addEventListener('change', () => { if ($('bring-file').files[0]) bringFile($('bring-file').files[0], false); $('bring-file').value = ''; });
  $('choice').addEventListener('change', () => { objections([], false); says = {}; $('meat').value = ''; lookUp(); });
  $('choice').addEventListener('focus', () => fillChoice());
  for (const id of ['meat', 'stuffed']) $(id).addEventListener('change', () => { says = {}; lookUp(); });
  $('read').addEventListener('change', drawStart);
  setInterval(() => { if (sheet && !$('start').hidden) drawStart(); }, 10000);
  fillChoice();
  lookUp();
}
