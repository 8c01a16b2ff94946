// What comes next, and the lists below the first screen.

// leftOf is how long the stage yet lasts: by the plan, else by its own clock; null if
// neither says it.
function leftOf(s) {
  if (!s.stage) return null;
  const planned = s.plan && s.plan.stages.find(p => p.name === s.stage.name && p.end && Date.parse(p.end) > Date.parse(s.time));
  if (planned) return (Date.parse(planned.end) - Date.parse(s.time)) / 1000;
  const only = s.stage.conditions.length === 1 && s.stage.conditions[0];
  if (only && only.kind === 'after' && only.progress_ratio > 0) return s.stage.elapsed_seconds / only.progress_ratio - s.stage.elapsed_seconds;
  return null;
}

function drawRail(s) {
  const over = ['complete', 'stopped', 'aborted'].includes(s.state), held = ['held', 'holding'].includes(s.state);
  show('rail', s.state !== 'idle');
  if (s.state === 'idle') return;
  const items = [];
  const item = (mark, ...content) => items.push([mark, content]);
  if (over) {
    item(['end', ''], ['strong', t('ended', { time: s.stages[0].began ? zoned(Date.parse(s.stages[0].began) + s.elapsed_seconds * 1000) : '?' })], ['faint', t('took', { time: duration(s.elapsed_seconds) })]);
  } else if (s.stage) {
    const left = leftOf(s), due = s.hand_steps.find(h => h.state === 'due');
    const big = held ? [duration(s.stage.elapsed_seconds), t('in stage')] : left !== null ? [duration(left), due ? t('after done') : t('left')] : [duration(s.stage.elapsed_seconds), t('in stage')];
    item(['here', ''], ['strong', capital(wrote(s.stage.name)) + (held ? ', ' + t('state.' + s.state) : '')], ['big', ...big],
      ['faint', held ? t('clock stands') : due ? t('clock waits') : t('until', { what: ends(s.stage) })]);
    const ahead = s.hand_steps.map((h, i) => ({ ...h, i })).filter(h => h.state === 'ahead');
    if (held) {
      item(['lost', '?'], ['strong', t('no plan')]);
    } else {
      ahead.slice(0, innerWidth >= 1024 ? 2 : 1).forEach(h => {
        const p = s.plan && s.plan.hand_steps.find(p => p.text === h.text);
        item(['step ahead', letter(h.i)], ['strong', p ? t('about', { time: dayed(p.at) }) : capital(t('next')), p && p.earliest && moment(p.earliest) !== moment(p.latest) ? t('between', { from: moment(p.earliest), to: moment(p.latest) }) : p ? '' : t('no time')], ['', wrote(h.text)]);
      });
      const p = s.plan;
      if (p && p.finish) item(['end', ''], ['strong', doneText(p)], ['faint', p.from ? t('by ' + p.from) : '']);
      else item(['lost', '?'], ['strong', t('no finish')], ['faint', s.plan_missing || '']);
    }
  }
  rebuild('rail', items, () => items.map(([[kind, content], rows]) => {
    const li = make('li', '', sign(kind, content));
    const words = make('div', '');
    for (const [cls, first, second] of rows) {
      if (!first) continue;
      const p = make('p', cls, first);
      if (cls === 'big') p.replaceChildren(first.replace(/\s?\S+$/, '').replaceAll(' ', '\u00a0'), make('small', '', first.match(/\s?\S+$/)[0] + ' ' + second));
      else if (second) p.append(' ', make('small', '', second));
      words.append(p);
    }
    li.append(words);
    return li;
  }));
}

// doneText says when it will be done: a span, or one time where that has none.
function doneText(p) {
  const from = p.finish_earliest && firstOf(p.finish_earliest, p.finish_latest), to = p.finish_latest && dayed(p.finish_latest);
  return from && from !== to ? t('done', { from, to }) : t('done at', { time: dayed(p.finish) });
}

// Notes of the batch, with the time of day at which they were made. They are asked for with
// a new batch and after one was written here, not by the second.
let notes = [], notesOf = null;

async function fetchNotes() {
  const batch = notesOf = status && status.batch;
  if (!batch) { notes = []; return; }
  try {
    const got = await fetch('/api/batches/' + encodeURIComponent(batch) + '/notes', { signal: AbortSignal.timeout(noAnswer) });
    if (got.ok && notesOf === batch) notes = (await got.json()).notes;
  } catch { /* the next note or batch asks again */ }
  if (status) drawNotes(status);
}

function drawNotes(s) {
  if (s.batch !== notesOf) { notes = []; fetchNotes(); }
  show('notes', notes.length > 0);
  rebuild('notes', notes, () => notes.map(n => make('li', '', make('time', 'faint', clock(n.time) + ' '), make('b', '', n.mark ? n.mark + ' ' : ''), noted(n))));
}

const markOf = { met: '✓', 'not met': '✗', 'not shown': '?', 'does not apply': '–' };

function drawFood(s) {
  const over = ['complete', 'stopped', 'aborted'].includes(s.state);
  const rules = s.rules.filter(r => r.answer !== 'does not apply');
  show('food', rules.length > 0);
  rebuild('food-list', [rules.map(r => [r.rule, r.answer, over ? r.why : '']), s.kill_ratio, Math.round((s.come_up_seconds ?? 0) / 60), over], () => rules.map(r => {
    const open = !over && r.answer === 'not shown';
    const li = make('li', r.answer.replaceAll(' ', '-') + (open ? ' open' : ''));
    const mark = make('span', 'mark', open ? '·' : markOf[r.answer]);
    mark.setAttribute('aria-hidden', 'true');
    const words = make('div', '', make('b', '', t('rule.' + r.rule)), ' ', t('mark.' + r.answer + (open ? '.yet' : '')));
    const bar = (name, ratio, text) => {
      words.append(make('span', 'faint', ' ' + text));
      const b = make('progress', '');
      b.max = 1;
      b.value = ratio;
      b.setAttribute('aria-label', name);
      words.append(b);
    };
    if (!over && r.rule === 'cooked' && known(s.kill_ratio)) bar(t('food.kill'), s.kill_ratio, t('food.of', { done: Math.floor((r.answer === 'met' ? s.kill_ratio : Math.min(s.kill_ratio, 0.99)) * 100) }));
    if (!over && r.rule === 'come-up' && known(s.come_up_seconds) && known(s.come_up_limit_seconds)) {
      bar(t('rule.come-up'), Math.min(1, s.come_up_seconds / s.come_up_limit_seconds), t('food.comeup', { time: duration(s.come_up_seconds), limit: duration(s.come_up_limit_seconds) }));
    }
    if (over || r.answer === 'not met') {
      words.append(reason(r.why));
    }
    li.append(mark, words);
    return li;
  }));
  show('with', over);
  show('whole', known(s.batch));
  if (known(s.batch)) $('whole').href = '/batches/' + encodeURIComponent(s.batch);
  const todo = [t('with.cold'), ...(s.good ? [] : [t('with.doubt')]), t('with.others')];
  const peak = over && curve && curve.core_celsius ? curve.core_celsius.filter(known).reduce((a, b) => Math.max(a, b), -Infinity) : -Infinity;
  show('uncovered', over && s.not_covered.length > 0);
  rebuild('uncovered-list', over && s.not_covered, () => over ? s.not_covered.map(x => speak(make('li', ''), x)) : []);
  rebuild('with-list', [over, todo, peak], () => todo.concat(Number.isFinite(peak) ? [t('peak', { at: temperature(peak, 'least') })] : []).map(x => make('li', '', x)));
}

// drawDisplay shows what the display of a simulated cabinet shows; a real one hangs there.
function drawDisplay(s) {
  show('display', s.display && s.world === 'simulated');
  const turn = Math.floor(Date.now() / 4000); // a page stands for four seconds
  if (!s.display || s.world !== 'simulated' || drawn.display === turn) return;
  drawn.display = turn;
  $('display-picture').alt = t('display.alt');
  $('display-picture').src = '/display.png?' + turn;
}

function drawLists(s) {
  drawDisplay(s);
  show('batch', s.hand_steps.length > 0);
  rebuild('steps', [s.hand_steps, s.plan && s.plan.hand_steps], () => s.hand_steps.map((h, i) => {
    const p = s.plan && s.plan.hand_steps.find(p => p.text === h.text);
    const when = h.state === 'ahead' ? p ? t('about', { time: dayed(p.at) }) + ' ' : '' : h.at ? moment(h.at) + ' ' : '';
    return make('li', '', sign('step ' + h.state, letter(i)), make('div', '', make('b', '', when), wrote(h.text)));
  }));
  drawAlarms(s);
  put('happened', t('what happened', { n: s.events.length }));
  rebuild('events', s.events.map(e => e.id), () => s.events.toReversed().map(e => {
    const text = logged(e), li = make('li', '', make('time', '', clock(e.time, true)), e.priority ? make('b', '', shapeOf[e.priority] + ' ') : '', text);
    li.lang = text === spaced(bare(e.text)) ? 'en' : kept.language;
    return li;
  }));
  rebuild('probes', s.probes, () => s.probes.map(p => {
    const row = make('tr', '');
    const good = known(p.celsius) && !known(p.alarm);
    row.append(make('th', '', p.name), make('td', 'faint', said(p.role)), make('td', good ? '' : 'strong', known(p.celsius) ? temperature(p.celsius) + (good ? '' : ' (' + headOf(p.alarm) + ')') : said(p.status)));
    row.firstChild.scope = 'row';
    return row;
  }));
}

function alarmItem(s, a, buttons) {
  const li = make('li', a.priority, sign(a.priority, '', !calls(a) || !a.standing));
  const words = make('div', '', make('b', '', headOf(a.code)), make('span', 'faint', a.since ? ' ' + t('since', { time: moment(a.since) }) : ''));
  for (const text of [a.meaning, a.action]) {
    words.append(speak(make('p', ''), text));
  }
  words.append(make('p', 'faint code', a.code));
  if (buttons) {
    const acts = make('div', 'acts');
    const button = (text, body) => {
      const b = make('button', '', text);
      b.type = 'button';
      b.setAttribute('aria-label', text + ': ' + headOf(a.code));
      b.addEventListener('click', () => send(body, b));
      acts.append(b);
    };
    if (calls(a)) button(t('know'), { command: 'acknowledge', alarm: a.code });
    if (a.mended && a.standing) button(said(a.mended), { command: 'mended', alarm: a.code });
    if (acts.children.length) words.append(acts);
  }
  li.append(words);
  return li;
}

function drawAlarms(s) {
  const list = s.alarms.filter(a => !aside(a)), away = s.alarms.filter(aside);
  put('alarms-none', list.length ? '' : t('none stands'));
  rebuild('alarms', list, () => list.map(a => alarmItem(s, a, true)));
  show('aside-box', away.length > 0);
  put('aside-count', t('aside', { n: away.length }));
  rebuild('aside', away, () => away.map(a => alarmItem(s, a, false)));
}
