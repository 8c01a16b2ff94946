// What the page answers: is it safe, what must I do. All of it follows from the status and
// from how long nothing was heard; nothing here touches the page.
const lostAfter = 4;  // s without an answer
const staleAfter = 5; // s without a step: the controller's own limit for a late one

// silence says why what is shown may no longer hold, or null.
function silence() {
  const silent = (Date.now() - heard) / 1000;
  if (!status) return silent > lostAfter ? { head: t('lost.first'), sub: t('lost.unsent') } : null;
  const sub = t('lost.sub', { time: clock(status.time, true) });
  if (silent > lostAfter) return { head: t('lost.head', { for: duration(silent) }), sub };
  if (status.stopping) return { head: t('lost.off'), sub };
  if (!known(status.age_seconds)) return { head: t('lost.age'), sub };
  if (status.age_seconds > staleAfter) return { head: t('lost.step', { for: duration(status.age_seconds) }), sub };
  return null;
}

const headOf = code => has('head.' + code) ? t('head.' + code) : code;
const aside = a => a.state === 'shelved' || a.state.startsWith('suppressed');
const calls = a => a.state.includes('unacknowledged');
// The bar asks the hand step itself; that it waits is no second matter.
const shownAlarms = s => s.alarms.filter(a => !aside(a) && !(s.prompt && a.code === 'prompt-waiting'));

function topAlarm(s) {
  const list = shownAlarms(s);
  const away = s.prompt && s.prompt.command === 'absence' && list.find(a => a.code === 'absence-unknown');
  if (away && !s.trip && list[0].priority !== 'now') return away;
  return (s.trip && (list.find(a => a.code === s.trip.code) ||
    { code: s.trip.code, priority: 'now', state: 'acknowledged', meaning: s.trip.meaning, action: s.trip.action, trips: true, standing: false, since: null })) || list[0];
}

// asked is the hand step or question that can be answered now. One of a held batch waits
// until the batch goes on, which is asked first.
const asked = s => s.prompt && (s.commands.includes(s.prompt.command) || !s.commands.includes('restart')) ? s.prompt : null;

// claimText is what the button of a question claims, with the stage that it is about.
function claimText(s) {
  if (s.prompt.command === 'absence') return t('absence');
  const [, stage, end] = s.prompt.question.match(/^(\d+)-(until)?/) || [];
  const of = stage && s.stages[stage - 1];
  return of ? t(end ? 'confirm.end' : 'confirm.on', { stage: wrote(of.name) }) : t('confirm');
}

function answerOf(s, lost) {
  if (lost) return { level: 'lost', sign: 'lost', head: lost.head, sub: lost.sub };
  const alarm = topAlarm(s);
  const over = ['complete', 'stopped', 'aborted'].includes(s.state);
  if (alarm && !(asked(s) && alarm.priority === 'later')) {
    const gone = s.trip ? s.trip.blocked_by.length === 0 : !alarm.standing;
    let head = headOf(alarm.code);
    if (gone) head = t('answer.was', { head });
    else if (['chamber-high', 'stage-hot'].includes(alarm.code) && known(s.chamber_celsius)) head += ': ' + temperature(s.chamber_celsius, 'most');
    let sub = s.trip ? t('answer.locked') : s.state === 'running' ? t('answer.going') : capital(t('state.' + s.state)) + '.';
    if (s.trip && alarm.code === 'chamber-high') sub = t('answer.limit', { limit: whole(s.chamber_limit_celsius) });
    return { level: alarm.priority, sign: alarm.priority, outline: gone || !calls(alarm) && !s.trip, filled: alarm.priority === 'now' && !gone, head, sub };
  }
  if (asked(s)) {
    const i = s.hand_steps.findIndex(h => h.state === 'due');
    return { level: 'turn', sign: 'step due', content: i < 0 ? '!' : letter(i), head: t('answer.turn'), sub: '' };
  }
  if (s.state === 'complete') return verdict(s);
  if (over) return { level: 'quiet', sign: '', head: t('answer.over', { state: capital(t('state.' + s.state)) }), sub: t('answer.aid') };
  if (s.state === 'idle') {
    const unread = s.probes.filter(p => !known(p.celsius)).length;
    return {
      level: 'quiet', sign: '', head: t(s.outputs.heater ? 'answer.idle.on' : 'answer.idle'),
      sub: unread === 0 ? t('answer.ready') : unread === 1 ? t('answer.unread') : t('answer.unreads', { n: unread }),
    };
  }
  if (s.state === 'held') return { level: 'quiet', sign: '', head: t('answer.held'), sub: capital(t('clock stands')) + '.' };
  return { level: 'quiet', sign: '', head: t('answer.quiet'), sub: '' };
}

function verdict(s) {
  const not = s.rules.filter(r => r.answer === 'not met'), unshown = s.rules.filter(r => r.answer === 'not shown');
  if (!s.rules.length) return { level: 'quiet', sign: '', head: t('answer.over', { state: capital(t('state.complete')) }), sub: '' }; // a cabinet that has learned
  if (not.length || s.good === false) {
    const rule = not[0] || unshown[0];
    return { level: 'quiet', sign: not.length ? 'mark-not' : 'lost', content: not.length ? '✗' : '?', head: t(not.length ? 'answer.unmet' : 'answer.open', { rule: rule ? t('rule.' + rule.rule) : '' }), sub: t('answer.aid') };
  }
  if (unshown.length) return { level: 'quiet', sign: 'lost', head: unshown.length === 1 ? t('answer.unshown') : t('answer.unshowns', { n: unshown.length }), sub: t('answer.aid') };
  return { level: 'quiet', sign: 'step', content: '✓', head: t('answer.met'), sub: t('answer.aid') };
}

// foodOf says how far the food is: safe only once every rule of heat was shown.
function foodOf(s) {
  const rule = name => s.rules.find(r => r.rule === name), cooked = rule('cooked');
  if (!cooked) return { strong: t('food.none'), rest: '' };
  if (cooked.answer === 'does not apply') return { strong: t('food.raw'), rest: '' };
  if (cooked.answer !== 'met') {
    // Full only once the rule is met, whatever the count says.
    const done = known(s.kill_ratio) ? Math.min(0.99, s.kill_ratio) : null;
    return {
      ratio: done ?? 0, strong: t(s.stage ? 'food.yet' : 'food.never'),
      rest: known(s.core_celsius) || !s.stage ? known(done) ? t('food.of', { done: Math.floor(done * 100) }) : t('mark.not shown.yet') : t('food.unread'),
    };
  }
  const heat = s.rules.filter(r => ['come-up', 'surface'].includes(r.rule) && !['met', 'does not apply'].includes(r.answer));
  const at = s.cooked_at && moment(s.cooked_at);
  if (!heat.length) return { ratio: 1, met: true, strong: t('food.safe'), rest: at ? t('food.since', { time: at }) : '' };
  const worst = heat.find(r => r.answer === 'not met') || heat[0];
  const names = heat.filter(r => r.answer === worst.answer).map(r => t('rule.' + r.rule).toLowerCase()).join(', ');
  return { ratio: 1, met: true, strong: t('food.core'), rest: (at ? t('food.about', { time: at }) + ' ' : '') + t(worst.answer === 'not met' ? 'food.lack.not met' : 'food.lacks', { rules: names }) };
}

// sentences makes a list of what to do, short enough to be read one by one.
const sentences = text => said(text).split(sentenceEnd);

// barOf is the one thing that a hand is needed for, or null.
function barOf(s, lost, beforeReset) {
  if (lost) return { key: 'lost', kind: 'lost', sign: 'lost', word: t('lost.word'), lines: [t('lost.do')], note: t('lost.unsent') };
  const alarms = shownAlarms(s), more = list => list.length;
  const trip = s.trip && topAlarm(s);
  if (trip) {
    const others = alarms.filter(a => a.code !== trip.code && calls(a));
    const base = { kind: 'now', more: more(others) + (s.prompt ? 1 : 0), since: trip.since, code: trip.code };
    const quiet = calls(trip) ? { command: 'acknowledge', alarm: trip.code } : null;
    if (s.trip.blocked_by.length) {
      const mended = trip.mended && trip.standing ? { text: said(trip.mended), body: { command: 'mended', alarm: trip.code } } : null;
      return { ...base, key: 'trip ' + trip.code, sign: 'now', word: t('prio.now'), lines: sentences(s.trip.action), lang: tongue(s.trip.action), quiet, main: mended,
        note: t('reset.not', { cause: s.trip.blocked_by.map(headOf).join(', ') }) };
    }
    return { ...base, key: 'reset ' + trip.code, sign: 'now', outline: true, word: t('before reset'), lines: sentences(beforeReset), lang: tongue(beforeReset), quiet,
      main: { text: t('reset'), body: { command: 'reset' } }, note: t('reset.stays') };
  }
  const waiting = alarms.filter(a => calls(a) || a.mended && a.standing);
  const urgent = waiting.find(a => a.priority !== 'later'), later = waiting.find(a => a.priority === 'later');
  const asksAbsence = s.prompt && s.prompt.command === 'absence' && !(urgent && urgent.priority === 'now'); // it is the answer to its alarms
  // What can wait lets a hand step pass, and the question whether to go on: without pump an
  // ember is unknown for as long as the batch is held.
  const asks = asked(s) || s.commands.includes('restart');
  const alarm = !asksAbsence && urgent || !asks && later;
  if (alarm) {
    return {
      key: 'alarm ' + alarm.code + alarm.since, kind: alarm.priority, sign: alarm.priority, outline: !alarm.standing, word: t('prio.' + alarm.priority), since: alarm.since,
      lines: sentences(alarm.action), lang: tongue(alarm.action), code: alarm.code, more: more(waiting) - 1 + (s.prompt ? 1 : 0),
      quiet: calls(alarm) ? { command: 'acknowledge', alarm: alarm.code } : null,
      main: alarm.mended && alarm.standing ? { text: said(alarm.mended), body: { command: 'mended', alarm: alarm.code } } : null,
    };
  }
  if (asked(s)) {
    const i = s.hand_steps.findIndex(h => h.state === 'due');
    const can = s.commands.includes(s.prompt.command);
    return {
      key: 'prompt ' + s.prompt.question, kind: 'turn', sign: 'step due', content: i < 0 ? '!' : letter(i), word: t('your turn'), waits: s.prompt.waiting_seconds,
      lines: s.prompt.command === 'absence' ? sentences(s.prompt.text) : [wrote(s.prompt.text)], lang: s.prompt.command === 'absence' ? tongue(s.prompt.text) : tongueOf(s.prompt.text), more: more(waiting), question: s.prompt.question, absence: s.prompt.command === 'absence',
      main: can ? { text: claimText(s), body: { command: s.prompt.command, question: s.prompt.question } } : null,
    };
  }
  if (s.commands.includes('restart')) {
    return { key: 'restart', kind: 'turn', sign: 'step due', content: '▸', word: t('going on'), lines: [t('going on.do')], more: more(waiting), caution: 'heat-returns', note: s.prompt ? t('going on.then', { what: wrote(s.prompt.text) }) : '',
      main: { text: t('going on.button', { stage: s.stage ? wrote(s.stage.name) : '' }), body: { command: 'restart' } } };
  }
  return null;
}
