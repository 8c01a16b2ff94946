// The line of time: stages as bands, hand steps as squares above, the curve below over the
// same axis. The real curve comes from the controller, which keeps it over a restart.
let curve = null, planCurve = null, cursor = null;
const hour = 3600e3;

async function fetchCurves() {
  if (!status || status.state === 'idle') { curve = planCurve = null; return; }
  for (const [path, keepIt] of [['/api/curve', c => { curve = c; }], ['/api/plan/curve', c => { planCurve = c; }]]) {
    if (path === '/api/plan/curve' && !status.plan) continue;
    try {
      const got = await fetch(path, { signal: AbortSignal.timeout(5000) });
      if (got.ok) keepIt(await got.json());
    } catch { /* the next round tries again */ }
  }
  if (status) drawLine(status);
}

const stamp = time => time ? Date.parse(time) : null; // of what is not known there is none

// spanOf is which stages stand where: real times for what was, the plan's for what comes.
function spanOf(s) {
  const over = ['complete', 'stopped', 'aborted'].includes(s.state), began = s.stages[0] && s.stages[0].began;
  const now = over && began ? Date.parse(began) + s.elapsed_seconds * 1000 : Date.parse(s.time), plan = s.plan;
  const ahead = plan ? plan.stages : [];
  const bands = s.stages.flatMap((stage, i) => {
    if (stage.state === 'skipped') return []; // a person passed it over
    const planned = ahead.find(p => p.index === i) || ahead.filter(p => p.name === stage.name).at(-1);
    const from = stamp(stage.began) ?? stamp(planned?.start), to = stamp(stage.ended) ?? stamp(planned?.end);
    return [{ name: wrote(stage.name), state: stage.state, heat: known(stage.chamber_celsius), from, to }];
  });
  if (over) {
    for (const b of bands) if (known(b.from) && !known(b.to)) b.to = now;
    return { bands: bands.filter(b => known(b.from)), now };
  }
  // Without a plan only what was has a place; what comes stands behind now, in order.
  const unknown = bands.filter(b => !known(b.to));
  let at = now;
  const begun = bands.find(b => known(b.from));
  const piece = Math.max(0.12 * (now - (begun ? begun.from : now)), 0.2 * hour);
  for (const b of unknown) {
    b.from ??= at;
    b.to = Math.max(at, b.from) + piece;
    b.open = true;
    at = b.to;
  }
  return { bands: bands.filter(b => known(b.from)), now };
}

// axis maps time to x; one long stage without heat is drawn short.
function axis(bands, width) {
  const from = Math.min(...bands.map(b => b.from)), to = Math.max(...bands.map(b => b.to));
  const long = bands.find(b => !b.heat && b.state === 'ahead' && !b.open && b.to - b.from > (to - from) / 4);
  if (!long) return { x: ms => (ms - from) / Math.max(1, to - from) * width, from, to };
  const short = width * 0.16, cut = long.to - long.from, per = (width - short) / Math.max(1, to - from - cut);
  return {
    from, to, broken: long,
    x: ms => ms <= long.from ? (ms - from) * per : ms >= long.to ? (ms - from - cut) * per + short : (long.from - from) * per + short * (ms - long.from) / cut,
  };
}

const pad = { left: 34, right: 8 };

function drawLine(s) {
  show('line-box', s.state !== 'idle');
  if (s.state === 'idle') return;
  const { bands, now } = spanOf(s);
  if (!bands.length) return;
  // On the wall all of it is as much larger as its words are.
  const wall = document.documentElement.dataset.view === 'wall', scale = wall ? 32 / 15 : 1;
  const full = $('line-box').clientWidth / scale, w = full - pad.left - pad.right, plotHigh = wall ? bar ? 30 : 80 : full > 900 ? 150 : full > 600 ? 116 : 96;
  if (w < 100) return;
  const a = axis(bands, w), x = ms => pad.left + a.x(ms);
  const bandTop = 30, bandHigh = 28, plotTop = bandTop + bandHigh + 8, plotBottom = plotTop + plotHigh;
  const svg = svgMake('svg', { viewBox: `0 0 ${full} ${plotBottom + 26}`, width: full * scale, height: (plotBottom + 26) * scale, 'aria-hidden': 'true' });
  const start = curve && curve.start ? Date.parse(curve.start) : a.from;
  const points = name => curve ? curve.seconds.map((at, i) => [start + at * 1000, curve[name][i]]) : [];
  const planned = name => planCurve && s.plan && s.plan.finish ? planCurve.points.map(p => [start + p.seconds * 1000, p[name]]).filter(p => p[0] >= now) : [];
  const chamber = points('chamber_celsius'), core = points('core_celsius');
  const chamberPlan = planned('chamber_celsius'), corePlan = planned('core_celsius');
  const heights = [...chamber, ...core, ...chamberPlan, ...corePlan].map(p => p[1]).filter(known);
  const top = Math.max(100, ...heights.map(v => Math.ceil((v + 5) / 20) * 20), s.trip && known(s.chamber_limit_celsius) ? s.chamber_limit_celsius + 5 : 0);
  const bottom = Math.min(0, ...heights.map(v => Math.floor(v / 20) * 20));
  const y = v => plotBottom - (v - bottom) / (top - bottom) * plotHigh;
  const add = (tag, attributes, ...c) => { const e = svgMake(tag, attributes, ...c); svg.append(e); return e; };
  const line = (cls, x1, y1, x2, y2) => add('line', { class: cls, x1, y1, x2, y2 });
  const word = (cls, at, high, text, anchor = 'middle') => add('text', { class: cls, x: at, y: high, 'text-anchor': anchor }, text);
  add('rect', { class: 'plot', x: pad.left, y: plotTop, width: w, height: plotHigh });
  for (const v of ticks(bottom, top, plotHigh <= 110)) {
    line('grid', pad.left, y(v), pad.left + w, y(v));
    if (y(v) > plotTop + 8 || plotHigh > 110) word('tick', pad.left - 4, y(v) + 5, number(inUnits(v), 0), 'end');
  }
  if (known(s.core_target_celsius)) line('target', pad.left, y(s.core_target_celsius), pad.left + w, y(s.core_target_celsius));
  if (s.trip && known(s.chamber_limit_celsius)) line('limit', pad.left, y(s.chamber_limit_celsius), pad.left + w, y(s.chamber_limit_celsius));
  const path = list => {
    let d = '', down = false;
    for (const [at, v] of list) {
      if (at > a.to) break;
      if (!known(v)) { down = false; continue; }
      d += (down ? 'L' : 'M') + x(at).toFixed(1) + ' ' + y(v).toFixed(1);
      down = true;
    }
    return d;
  };
  for (const [cls, list] of [['chamber planned', chamberPlan], ['core planned', corePlan], ['chamber', chamber], ['core', core]]) if (list.length) add('path', { class: 'curve ' + cls, d: path(list) });
  drawBands(s, { bands, x, bandTop, bandHigh, plotTop, plotBottom, add, line, word });
  drawClock(s, { x, from: a.from, to: a.to, now, plotBottom, bandTop, full, word, add, line, broken: a.broken });
  for (const b of bands) { // over every line
    const from = x(b.from), wide = x(b.to) - from;
    if (wide > b.name.length * 8.2 + 4) word('stage ' + b.state, from + wide / 2, bandTop + 19, b.name);
  }
  const box = $('line-svg');
  box.replaceChildren(svg);
  box.at = { x, scale, from: start, now, chamber, core, plotTop, plotBottom };
  readOut();
}

function drawBands(s, { bands, x, bandTop, bandHigh, plotTop, plotBottom, add, line, word }) {
  for (const b of bands) {
    const from = x(b.from), wide = Math.max(1, x(b.to) - from);
    add('rect', { class: 'band ' + b.state + (b.open ? ' open' : ''), x: from, y: bandTop, width: wide, height: bandHigh });
    line('edge', x(b.to), plotTop, x(b.to), plotBottom);
  }
  let last = -99;
  s.hand_steps.forEach((h, i) => {
    const band = bands[h.stage], planned = s.plan && s.plan.hand_steps.find(p => p.text === h.text);
    if (!band) return;
    const at = x(h.at ? Date.parse(h.at) : planned ? Date.parse(planned.at) : band.from), square = Math.max(at, last + 24, 12);
    last = square;
    if (square !== at) line('edge', square, bandTop - 5, at, bandTop);
    add('rect', { class: 'step ' + h.state, x: square - 10, y: bandTop - 27, width: 20, height: 20 });
    word('letter ' + h.state, square, bandTop - 12, letter(i));
  });
  for (const e of s.events) {
    if (e.kind !== 'alarm raised' || e.priority === 'later' || Date.parse(e.time) < bands[0].from) continue;
    line('alarm ' + e.priority, x(Date.parse(e.time)), plotTop, x(Date.parse(e.time)), plotBottom);
    word('mark ' + e.priority, x(Date.parse(e.time)), plotTop + 14, e.priority === 'now' ? '▲' : '◆');
  }
}

function drawClock(s, { x, from, to, now, plotBottom, bandTop, full, word, add, line, broken }) {
  const active = !['complete', 'stopped', 'aborted'].includes(s.state), taken = [];
  const place = (cls, at, text) => {
    const half = text.length * 4.3 + 4, mid = Math.min(Math.max(at, half), full - half);
    if (taken.some(([a, b]) => mid - half < b && mid + half > a)) return;
    taken.push([mid - half, mid + half]);
    if (cls === 'clock now') add('rect', { class: 'label', x: mid - half, y: plotBottom + 4, width: 2 * half, height: 20 });
    word(cls, mid, plotBottom + 19, text);
  };
  if (active) {
    line('now', x(now), bandTop - 2, x(now), plotBottom + 4);
    place('clock now', x(now), zoned(now));
  }
  const p = s.plan;
  place('clock end', x(to), p && p.finish_earliest && moment(p.finish_earliest) !== moment(p.finish_latest) ? moment(p.finish_earliest) + '–' + moment(p.finish_latest) : p && p.finish ? moment(p.finish) : active ? t('finish unknown') : zoned(to));
  const span = (to - from) / hour, every = (full < 600 ? [0.5, 1, 2, 4, 6, 12, 24, 48] : [0.25, 0.5, 1, 2, 3, 6, 12, 24]).find(h => span / h <= (full < 600 ? 4 : 9)) || 48;
  for (let at = Math.ceil(from / (every * hour)) * every * hour; at < to; at += every * hour) {
    if (!broken || at < broken.from) place('clock', x(at), zoned(at));
  }
}

// readOut says the values under the hairline, which touch, pointer and keys move.
function readOut() {
  const box = $('line-svg'), a = box.at;
  if (!a) return;
  const svg = box.firstElementChild;
  svg.querySelector('.hair')?.remove();
  const at = cursor ?? a.now;
  const nearest = list => {
    let best = null;
    for (const p of list) if (!best || Math.abs(p[0] - at) < Math.abs(best[0] - at)) best = p;
    return best && known(best[1]) ? temperature(best[1]) : t('not read');
  };
  const text = t('line.value', { time: zoned(at), chamber: nearest(a.chamber), core: nearest(a.core) });
  put('line-value', cursor === null ? '' : text);
  box.setAttribute('aria-valuetext', text);
  box.setAttribute('aria-valuemin', 0);
  box.setAttribute('aria-valuemax', Math.round((a.now - a.from) / 60000));
  box.setAttribute('aria-valuenow', Math.round((at - a.from) / 60000));
  if (cursor !== null) svg.append(svgMake('line', { class: 'hair', x1: a.x(at), x2: a.x(at), y1: a.plotTop, y2: a.plotBottom }));
}

function moveTo(ms) {
  const a = $('line-svg').at;
  if (!a) return;
  cursor = Math.min(Math.max(ms, a.from), a.now);
  readOut();
}

function lineEvents() {
  const box = $('line-svg');
  const point = e => {
    const a = box.at;
    if (!a) return;
    const px = (e.clientX - box.getBoundingClientRect().left) / a.scale;
    let lo = a.from, hi = a.now; // the axis only rises
    for (let i = 0; i < 40; i++) { const mid = (lo + hi) / 2; if (a.x(mid) < px) lo = mid; else hi = mid; }
    moveTo(lo);
  };
  box.addEventListener('pointerdown', point);
  box.addEventListener('pointermove', e => { if (e.pointerType !== 'touch' || e.buttons) point(e); });
  box.addEventListener('pointerleave', e => { if (e.pointerType !== 'touch' && document.activeElement !== box) { cursor = null; readOut(); } });
  box.addEventListener('blur', () => { cursor = null; readOut(); });
  box.addEventListener('keydown', e => {
    const a = box.at, step = { ArrowLeft: -60e3, ArrowDown: -60e3, ArrowRight: 60e3, ArrowUp: 60e3, PageDown: -hour / 2, PageUp: hour / 2 }[e.key];
    if (!a) return;
    if (step) moveTo((cursor ?? a.now) + step);
    else if (e.key === 'Home') moveTo(a.from);
    else if (e.key === 'End') moveTo(a.now);
    else return;
    e.preventDefault();
  });
}
