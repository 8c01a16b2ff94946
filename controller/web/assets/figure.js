// The cabinet in section: the drawing comes from the controller, which made it of the
// cabinet file; here the values are put beside the probes, and leader lines between.
let sectionOf = '', fetching = '';

async function drawSection(s) {
  const wanted = s.cabinet + '/' + (s.product || '') + '/' + s.place;
  if (sectionOf === wanted || fetching === wanted) return;
  fetching = wanted;
  try {
    const got = await fetch('/api/drawing.svg', { signal: AbortSignal.timeout(5000) });
    if (got.ok) {
      const svg = new DOMParser().parseFromString(await got.text(), 'image/svg+xml').documentElement;
      svg.setAttribute('aria-hidden', 'true');
      $('section').replaceChildren(document.importNode(svg, true));
      sectionOf = wanted;
      if (status) drawFigure(status);
    }
  } catch { /* the next status tries again */ }
  fetching = '';
}

function value(id, celsius, why, side) {
  const key = known(celsius) ? degrees(celsius, side) : why;
  rebuild(id, [key], () => known(celsius) ? [make('span', '', key), make('span', 'unit', ' ' + unit())] : [make('span', 'unread', key)]);
}

const wrong = p => !known(p.celsius) || known(p.alarm);
const priorityOf = (s, code) => (s.alarms.find(a => a.code === code) || {}).priority || 'soon';

function drawFigure(s) {
  const chambers = s.probes.filter(p => p.role === 'chamber'), cores = s.probes.filter(p => p.role === 'core');
  const believed = cores.filter(p => !wrong(p));
  value('chamber', s.chamber_celsius, t('not read'), 'most');
  const tripped = s.trip && known(s.chamber_limit_celsius);
  put('chamber-set', tripped ? t('limit', { at: whole(s.chamber_limit_celsius) }) : known(s.aims_lower_kelvin) ? t('set.lower', { at: whole(s.setpoint_celsius), by: apart(s.aims_lower_kelvin) }) : known(s.setpoint_celsius) ? t('set', { at: whole(s.setpoint_celsius) }) : t('no setpoint'));
  // While it cools the hottest counts, while it heats the coldest.
  const cooling = s.place && s.place !== 'chamber';
  const first = believed.toSorted((a, b) => cooling ? b.celsius - a.celsius : a.celsius - b.celsius)[0];
  const unseen = s.state !== 'idle' && !known(s.core_celsius) && !cooling;
  put('core-name', believed.length > 1 && !cooling ? t('core.coldest') : first ? first.name : t('core'));
  value('core', unseen || !first ? null : cooling ? first.celsius : s.core_celsius ?? first.celsius, t(cores.length ? 'not read' : 'no probe'), cooling ? 'most' : 'least');
  put('core-to', known(s.core_target_celsius) && !cooling ? t('to', { at: whole(s.core_target_celsius) }) : '');
  const rest = cores.filter(p => p !== first).concat(chambers.filter(p => chambers.length > 1 || wrong(p)));
  rebuild('shelves', rest.map(p => [p.name, p.role, p.celsius === null ? null : degrees(p.celsius), p.status, p.alarm]), () => rest.map(p => {
    const bad = ['chamber', 'core'].includes(p.role) && wrong(p) && (s.state !== 'idle' || p.status !== 'not read' || p.role === 'chamber');
    const words = known(p.alarm) ? t('out', { probe: p.name }) : known(p.celsius) ? p.name + ' ' + degrees(p.celsius) : t('lost.probe', { probe: p.name, why: said(p.status) });
    const li = make('li', bad ? 'bad' : '', bad ? sign(priorityOf(s, p.alarm || (p.role === 'core' ? 'core-lost' : 'chamber-lost'))) : '', make('span', '', words));
    li.dataset.of = p.name;
    li.dataset.side = p.role === 'chamber' ? 'left' : 'right';
    return li;
  }));
  const svg = $('section').firstElementChild;
  $('chamber-box').dataset.of = chambers.length ? chambers[0].name : '';
  $('core-box').dataset.of = first ? first.name : '';
  if (svg) {
    svg.classList.toggle('heats', s.outputs.heater === true);
    svg.classList.toggle('locked', s.trip !== null);
    svg.classList.toggle('blows', s.outputs.fan === true);
    svg.classList.toggle('smokes', s.outputs.smoke === true);
    svg.classList.toggle('steams', s.outputs.humidifier === true);
    svg.classList.toggle('cools', s.outputs.cooler === true);
    svg.querySelector('.damper')?.setAttribute('transform', 'rotate(' + Math.round(90 * (s.damper_ratio ?? 0)) + ')');
    for (const g of svg.querySelectorAll('.probe')) {
      const p = s.probes.find(p => p.name === g.dataset.probe);
      g.classList.toggle('bad', Boolean(p) && ['chamber', 'core'].includes(p.role) && wrong(p) && s.state !== 'idle');
    }
  }
  const states = [];
  const state = (name, on, words) => { if (known(on)) states.push([t(name), words ?? t(on ? 'on' : 'off')]); };
  state('element', s.outputs.heater, s.trip ? t('locked off') : known(s.heater_duty_ratio) ? percent(s.heater_duty_ratio) : undefined);
  state('fan', s.outputs.fan);
  state('generator', s.outputs.smoke);
  state('humidifier', s.outputs.humidifier);
  state('cooler', s.outputs.cooler);
  if (known(s.damper_ratio)) states.push([t('damper'), s.damper_ratio <= 0 ? t('shut') : s.damper_ratio >= 1 ? t('open') : percent(s.damper_ratio)]);
  for (const p of s.probes) if (['wet bulb', 'ember'].includes(p.role) && known(p.celsius)) states.push([p.name, temperature(p.celsius)]);
  rebuild('equipment', states, () => states.map(([name, v]) => make('span', '', name + '\u00a0', make('b', '', v))));
  leaders();
}

// leaders draws from the shelf under each number to its probe.
function leaders() {
  const over = $('leaders'), box = $('figure').getBoundingClientRect(), cut = $('section').getBoundingClientRect(), middle = cut.left + cut.width / 2;
  const lines = [];
  for (const e of $('figure').querySelectorAll('[data-of]')) {
    const dot = [...$('section').querySelectorAll('.probe')].find(g => g.dataset.probe === e.dataset.of);
    const shelf = (e.querySelector('.shelf') || e).getBoundingClientRect();
    if (!dot || !shelf.width) continue;
    const spot = dot.querySelector('.spot').getBoundingClientRect(), y = shelf.bottom - box.top;
    const left = shelf.left < middle, from = (left ? shelf.left : shelf.right) - box.left, to = (left ? shelf.right : shelf.left) - box.left;
    const x = spot.left + spot.width / 2 - box.left, sy = spot.top + spot.height / 2 - box.top;
    const bend = to + (left ? 4 : -4);
    lines.push(svgMake('path', { d: `M${from} ${y}H${bend}V${sy}H${x}`, class: e.classList.contains('bad') ? 'leader bad' : 'leader' }));
  }
  over.replaceChildren(...lines);
}
