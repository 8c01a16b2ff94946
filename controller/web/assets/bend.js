// Changing the stage under way: what may be changed and how far, what it would come to by a
// rehearsal, why, and one button. The sheet keeps to the stage that it was opened for.
let bendStage = '', foreseen = '', effect = null;

const bendParts = { chamber: 'chamber_celsius', core: 'core_celsius', time: 'time_seconds', smoke: 'smoke_ratio' };

// bendChoices are what may be changed of the stage now.
function bendChoices(c) {
  const parts = Object.keys(bendParts).filter(part => known(c[bendParts[part]]));
  return [...parts, ...(known(c.after_skip) ? ['skip'] : []), ...(known(c.after_cooking) ? ['end-cooking'] : [])];
}

function bendText(part, v) {
  if (part === 'time') return duration(v);
  if (part === 'smoke') return v > 0 ? percent(v) : t('bend.no smoke');
  return whole(v) + '\u00a0' + unit();
}

// bendValue is what stands in the field at first: as it is now, without a unit where one is
// understood.
function bendValue(part, v) {
  if (part === 'time') return duration(v).replaceAll('\u00a0', ' ');
  return part === 'smoke' ? number(v * 100, 0) : whole(v).replace('−', '-');
}

// bendOrder is what the sheet says, as the API takes it.
function bendOrder() {
  const what = $('bend-what').value, order = { command: bendParts[what] ? 'adjust' : what, stage: bendStage };
  if (!bendParts[what]) return order;
  const typed = $('bend-value').value.trim().replace(/(\d),(\d)/, '$1.$2');
  const plain = /^-?[\d.]+$/.test(typed);
  order[what] = what === 'smoke' && (typed === '0' || /^0 ?%$/.test(typed)) ? 'off' : !plain ? typed : typed + ({ time: ' min', smoke: ' %' }[what] || ' ' + unit());
  return order;
}

function drawBend(s) {
  show('bend', known(s.change) && s.trip === null && silence() === null);
  if (!$('ask-bend').open) return;
  const c = s.change, gone = !c || c.stage !== bendStage || silence() !== null;
  if (gone) effect = null;
  $('bend-go').disabled = gone;
  if (gone) says = { bend: t('bend.gone') };
  if (!gone) {
    const what = $('bend-what').value, range = c[bendParts[what]];
    show('bend-to', known(range));
    put('bend-label', t('bend.part.' + what) + (what === 'time' ? '' : ', ' + (what === 'smoke' ? '%' : unit())));
    const next = what === 'skip' ? c.after_skip : c.after_cooking;
    put('bend-bounds', range ? t('bend.bounds', { now: bendText(what, range.now), file: bendText(what, range.file), low: bendText(what, range.low), high: bendText(what, range.high) }) + (what === 'smoke' ? t('bend.none') : '')
      : (next ? t('bend.goes on', { stage: wrote(next) }) : t('bend.completes')) + ' ' + t('bend.unshown'));
    put('bend-changed', c.changed ? t('bend.changed', { what: c.changed.split(', ').map(said).join(', ') }) : '');
  }
  if (effect && foreseen !== JSON.stringify(bendOrder())) effect = null;
  put('bend-go', t(busy === 'bend-go' ? effect ? 'sending' : 'bend.looking' : effect ? 'bend.do' : 'bend.look'));
  $('bend-go').classList.toggle('main', effect !== null);
  rebuild('bend-effect', effect, () => effect ? bendEffect(effect) : []);
}

const held = answer => answer === 'met' || answer === 'does not apply';

// bendEffect says both courses beside each other, and what the change would cost.
function bendEffect(e) {
  const rows = [['bend.stage end', 'stage_end'], ['bend.finish', 'finish']].map(([key, of]) => {
    const at = time => time ? t('about', { time: dayed(time) }) : t('bend.unknown');
    return make('tr', '', make('th', '', t(key)), make('td', '', at(e.before[of])), make('td', 'strong', at(e.after[of])));
  });
  const peak = c => known(c.peak_core_celsius) ? temperature(c.peak_core_celsius, 'least') : t('bend.unknown');
  rows.push(make('tr', '', make('th', '', t('bend.peak')), make('td', '', peak(e.before)), make('td', 'strong', peak(e.after))));
  for (const row of rows) row.firstChild.scope = 'row';
  const head = make('tr', '', make('td', '', ''), make('th', '', t('bend.before')), make('th', '', t('bend.after')));
  for (const cell of head.querySelectorAll('th')) cell.scope = 'col';
  const table = make('table', '', make('thead', '', head), make('tbody', '', ...rows));
  const lines = [];
  for (const [side, key] of [[e.before, 'bend.missing before'], [e.after, 'bend.missing after']]) if (side.missing) lines.push(t(key, { why: said(side.missing) }));
  const cost = e.after.rules.filter(r => !held(r.answer) && e.before.rules.some(b => b.rule === r.rule && held(b.answer)));
  for (const r of cost) lines.push(markOf[r.answer] + ' ' + t('rule.' + r.rule) + ': ' + t('mark.' + r.answer));
  const list = make('ul', 'costs', ...lines.map(x => make('li', 'strong', x)));
  return [table, ...(lines.length ? [list] : []), make('p', 'faint', t('bend.model'))];
}

function fillBend() {
  const c = status.change, what = $('bend-what').value, range = c && c[bendParts[what]];
  $('bend-value').value = range ? bendValue(what, range.now) : '';
  effect = null;
  delete says.bend;
  draw();
}

function bendEvents() {
  $('bend').addEventListener('click', () => {
    const c = status && status.change;
    if (!c) return;
    bendStage = c.stage;
    put('bend-title', t('bend.title', { stage: status.stage ? wrote(status.stage.name) : '' }));
    $('bend-what').replaceChildren(...bendChoices(c).map(part => {
      const option = make('option', '', t('bend.part.' + part));
      option.value = part;
      return option;
    }));
    $('bend-reason').value = '';
    $('ask-bend').showModal();
    fillBend();
  });
  $('bend-what').addEventListener('change', fillBend);
  $('bend-value').addEventListener('input', () => draw());
  $('bend-leave').addEventListener('click', () => $('ask-bend').close());
  $('bend-form').addEventListener('submit', e => {
    e.preventDefault();
    const order = bendOrder();
    if (!effect) {
      send(order, $('bend-go'), { path: '/api/rehearse/change', done: reply => { effect = reply; foreseen = JSON.stringify(order); draw(); $('bend-effect').scrollIntoView({ block: 'nearest' }); } });
      return;
    }
    const reason = $('bend-reason').value.trim();
    if (!reason) { refused('bend', t('bend.why')); $('bend-reason').focus(); return; }
    send({ ...order, reason }, $('bend-go'), { done: () => { $('ask-bend').close(); $('answer').focus({ preventScroll: true }); } });
  });
}
