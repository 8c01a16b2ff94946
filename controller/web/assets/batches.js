// The batches of before: a list, or one of them with all that is known of it. Notes and marks
// may still be added. Nothing here is live; what runs stands on the other page.
const pastName = decodeURIComponent(location.pathname.split('/')[2] || '');
const pastMarks = { met: '✓', 'not met': '✗', 'not shown': '?', 'does not apply': '–' };

// after is a time of day so many seconds after another, on the clock that was in use then.
function after(time, seconds) {
  const zone = time.match(/(Z|[+-]\d\d:\d\d)$/)[0];
  const shift = zone === 'Z' ? 0 : (zone[0] === '-' ? -1 : 1) * (Number(zone.slice(1, 3)) * 60 + Number(zone.slice(4, 6))) * 60000;
  return new Date(Date.parse(time) + seconds * 1000 + shift).toISOString();
}

const dayAndTime = time => time.startsWith('0001') ? '?' : time.slice(0, 10) + ' ' + clock(time);
const stateOf = b => known(b.state) ? t('state.' + b.state) : t('past.open');

async function showPast() {
  try {
    if (pastName) showBatch(await handGet('/api/batches/' + encodeURIComponent(pastName)));
    else showList((await handGet('/api/batches')).batches);
  } catch (e) {
    put('past-says', t('past.failed', { why: e.message }));
    show('past-says', true);
  }
}

function showList(list) {
  put('past-title', t('past.title'));
  showUpkeep();
  put('answer-head', list.length ? t(list.length === 1 ? 'past.count.one' : 'past.count', { n: list.length }) : t('past.none'));
  $('past-list').replaceChildren(...list.map(b => {
    const a = make('a', 'row', make('b', '', b.product), make('span', 'faint', dayAndTime(b.started) + ' · ' + stateOf(b) + ' · ' + duration(b.elapsed_seconds) + (b.world === 'simulated' ? ' · ' + t('past.simulated') : '')));
    a.href = known(b.state) ? '/batches/' + encodeURIComponent(b.batch) : '/';
    return make('li', '', a);
  }));
}

let shownBatch = null;
function showBatch(b) {
  shownBatch = b;
  $('past-back').href = '/batches';
  put('past-back', t('past.title'));
  put('past-title', b.product);
  document.title = b.product + ' ' + b.batch + ' – fumarium';
  show('past-one', true);
  show('past-world', b.world === 'simulated');
  put('past-world', t('past.practice'));
  const of = { rules: b.rules, good: b.good };
  const a = b.state === 'complete' && known(b.good) ? verdict(of) : { head: t('answer.over', { state: capital(stateOf(b)) }), sub: t('answer.aid') };
  $('answer-sign').replaceChildren(...(a.sign ? [sign(a.sign, a.content)] : []));
  put('answer-head', a.head);
  put('answer-sub', a.sub);
  const todo = [t('with.cold'), ...(b.good ? [] : [t('with.doubt')]), t('with.others')];
  $('with-list').replaceChildren(...todo.map(x => make('li', '', x)));
  const row = (name, value) => {
    const tr = make('tr', '', make('th', '', name), make('td', '', value));
    tr.firstChild.scope = 'row';
    return tr;
  };
  $('past-times').replaceChildren(
    row(t('past.name'), b.batch), row(t('past.cabinet'), b.cabinet), row(t('past.started'), dayAndTime(b.started)),
    row(t('past.ended'), (b.ended ? dayAndTime(b.ended) + ', ' : '') + stateOf(b)), row(t('past.took'), duration(b.elapsed_seconds)),
    ...(known(b.peak_core_celsius) ? [row(t('past.peak core'), temperature(b.peak_core_celsius, 'least'))] : []),
    ...(known(b.peak_chamber_celsius) ? [row(t('past.peak chamber'), temperature(b.peak_chamber_celsius))] : []),
    ...b.stages.map(s => row(wrote(s.name), clock(after(b.started, s.start_seconds)) + (known(s.end_seconds) ? ' – ' + clock(after(b.started, s.end_seconds)) : '') + (s.ended_by === 'skip' ? ', ' + t('past.skipped') : ''))));
  $('food-list').replaceChildren(...b.rules.filter(r => r.answer !== 'does not apply').map(r => {
    const mark = make('span', 'mark', pastMarks[r.answer]), why = reason(r.why);
    mark.setAttribute('aria-hidden', 'true');
    return make('li', r.answer.replaceAll(' ', '-'), mark, make('div', '', make('b', '', t('rule.' + r.rule)), ' ' + t('mark.' + r.answer), why));
  }));
  $('uncovered-list').replaceChildren(...b.not_covered.map(x => speak(make('li', ''), x)));
  $('past-notes').replaceChildren(...b.notes.map(n => make('li', '', make('time', 'faint', dayAndTime(n.time) + ' '), make('b', '', n.mark ? n.mark + ' ' : ''), noted(n))));
  drawPast(b);
  $('past-weigh').href = '/weigh?batch=' + encodeURIComponent(b.batch);
  handGet(factsPath(b.batch)).then(f => { handMarks(f); handPhotos(f); }).catch(() => {}); // a daemon without
}

// drawPast draws the course: chamber thin, core thick.
function drawPast(b) {
  const wide = $('line-svg').clientWidth, high = 150, left = 34, foot = 24;
  const read = b.points.flatMap(p => [p.chamber_celsius, p.core_celsius]).filter(known);
  if (!read.length || wide < 100) { $('line-svg').replaceChildren(); return; }
  const end = Math.max(1, b.points.at(-1).seconds), low = Math.min(0, ...read), top = Math.max(...read) + 5;
  const x = s => left + s / end * (wide - left - 6), y = v => 6 + (1 - (v - low) / (top - low)) * (high - 6);
  const svg = svgMake('svg', { viewBox: `0 0 ${wide} ${high + foot}`, width: wide, height: high + foot, 'aria-hidden': 'true' });
  svg.append(svgMake('rect', { class: 'plot', x: left, y: 6, width: wide - left - 6, height: high - 6 }));
  for (const v of ticks(low, top)) {
    svg.append(svgMake('line', { class: 'grid', x1: left, x2: wide - 6, y1: y(v), y2: y(v) }), svgMake('text', { class: 'tick', x: left - 4, y: y(v) + 5, 'text-anchor': 'end' }, number(inUnits(v), 0)));
  }
  for (const [name, cls] of [['chamber_celsius', 'curve'], ['core_celsius', 'curve core']]) {
    let d = '', pen = 'M';
    for (const p of b.points) {
      if (!known(p[name])) { pen = 'M'; continue; }
      d += pen + x(p.seconds).toFixed(1) + ' ' + y(p[name]).toFixed(1);
      pen = 'L';
    }
    if (d) svg.append(svgMake('path', { class: cls, d }));
  }
  for (const [at, anchor] of [[0, 'start'], [end, 'end']]) svg.append(svgMake('text', { class: 'clock', x: x(at), y: high + 18, 'text-anchor': anchor }, clock(after(b.started, at))));
  $('line-svg').replaceChildren(svg);
}

async function keepPast() {
  const text = $('past-text').value.trim(), mark = $('past-mark').value.trim();
  if (!text && !mark) return;
  const sent = await handOrder({ command: 'note', batch: pastName, text, mark }, keepPast);
  if (!sent) return;
  if (sent.reply) {
    $('past-text').value = $('past-mark').value = '';
    await showPast();
  }
  put('past-kept', sent.reply ? t('note.kept') : sent.words);
  show('past-kept', true);
  $('past-kept').scrollIntoView({ block: 'center' });
}

handStart(() => pastName);
$('past-form').addEventListener('submit', e => { e.preventDefault(); keepPast(); });
addEventListener('resize', () => { if (shownBatch) drawPast(shownBatch); }); // a phone is turned on its side
showPast();
