// The live part of the page: it gets the status, draws it in place (a button must not vanish
// under a finger), and sends commands.
const pollEvery = 1000, curveEvery = 10000; // ms
const settle = 1500;                        // ms before a new question can be answered

let status = null, heard = Date.now(), wasLost = false;
let polling = false, busy = null, bar = null, barSince = 0, barKey = '', announced = '', answeredHere = '', says = {};

function got(next) {
  if (status && next.time < status.time && next.batch === status.batch) return; // an older one overtaken
  const before = status;
  status = next;
  heard = Date.now();
  if (before && before.prompt && (!next.prompt || next.prompt.question !== before.prompt.question) && next.state === 'running' && answeredHere !== before.prompt.question) {
    tell(t('elsewhere', { time: moment(next.time) }), 5000);
  }
  draw();
}

// draw shows the status part by part: what throws in one stops no other and freezes no button,
// the person is told, and the next step draws all of it again.
function draw() {
  const s = status, lost = silence(), torn = [];
  for (const [name, part] of partsOf(s, lost)) {
    try { part(); } catch (e) { console.error(e); torn.push(name); }
  }
  if (torn.includes('answer')) { // no old answer stays in its place
    $('top').className = 'level-lost';
    rebuild('answer-sign', 'torn', () => [sign('lost')]);
    put('answer-head', t('torn.head'));
    put('answer-sub', t('lost.word'));
  }
  if (torn.includes('bar')) { // nor an old question
    bar = null;
    show('bar', false);
    document.documentElement.style.setProperty('--bar', '0px');
  }
  show('torn', torn.length > 0);
}

const partsOf = (s, lost) => [
  ['frame', () => drawFrame(s, lost)], ['answer', () => drawAnswer(s, lost)],
  ...s ? Object.entries({
    bar: () => drawBar(s, lost), head: () => drawHead(s), section: () => drawSection(s), figure: () => drawFigure(s), rail: () => drawRail(s),
    food: () => drawFood(s), lists: () => drawLists(s), notes: () => drawNotes(s), buttons: () => drawButtons(s, lost), bend: () => drawBend(s),
    learn: () => drawLearn(s, may(s, lost)), says: drawSays,
  }) : [], ['announce', () => announce(answerNow(s, lost), lost)],
];

function drawFrame(s, lost) {
  document.body.classList.toggle('lost', lost !== null);
  document.body.classList.toggle('waiting', s === null);
  document.body.classList.toggle('over', s !== null && ['complete', 'stopped', 'aborted'].includes(s.state));
  if (wasLost && !lost && s) tell(t('back', { time: clock(s.time, true) }), 5000);
  wasLost = lost !== null && s !== null;
}

function drawHead(s) {
  show('world', s.world === 'simulated');
  put('world', t('world', { pace: s.pace }));
  put('cabinet', s.cabinet || t('cabinet'));
  put('product', s.product || t('no batch'));
  put('state', t('state.' + s.state));
  put('time', clock(s.time));
}

const noStatus = { alarms: [], rules: [] };
const answerNow = (s, lost) => s || lost ? answerOf(s || noStatus, lost) : { level: 'quiet', sign: '', head: t('lost.first'), sub: '' };

function drawAnswer(s, lost) {
  const a = answerNow(s, lost);
  $('top').className = 'level-' + a.level + (a.filled ? ' filled' : '');
  rebuild('answer-sign', [a.sign, a.content, a.outline], () => a.sign ? [sign(a.sign, a.content, a.outline)] : []);
  put('answer-head', a.head);
  put('answer-sub', a.sub);
  if (s) {
    const f = foodOf(s);
    show('food-line', s.state !== 'idle');
    show('food-bar', known(f.ratio) && !f.met);
    $('food-bar').value = f.ratio ?? 0;
    put('food-mark', f.met ? '✓ ' : '');
    put('food-strong', f.strong + ' ');
    put('food-rest', f.rest);
  }
}

function drawBar(s, lost) {
  bar = barOf(s, lost, $('before-reset').dataset.en);
  const key = bar ? bar.key : '';
  if (key !== barKey) {
    barKey = key;
    barSince = Date.now();
    delete says.bar;
    if (bar) setTimeout(() => draw(), settle + 50);
  }
  show('bar', bar !== null);
  document.body.classList.toggle('needed', bar !== null);
  if (!bar) { document.documentElement.style.setProperty('--bar', '0px'); return; }
  $('bar').className = 'kind-' + bar.kind;
  rebuild('bar-head', [bar.sign, bar.content, bar.outline, bar.word, bar.since, bar.waits && Math.round(bar.waits / 60), bar.more], () => [
    sign(bar.sign, bar.content, bar.outline), make('b', '', bar.word),
    make('span', 'faint', bar.since ? t('since', { time: moment(bar.since) }) : bar.waits >= 60 ? t('waits', { time: duration(Math.floor(bar.waits / 60) * 60) }) : ''),
    ...(bar.more > 0 ? [make('a', 'more', t('more', { n: bar.more }))] : []),
  ]);
  const more = $('bar-head').querySelector('a');
  if (more) more.href = '#alarms-title';
  rebuild('bar-lines', [bar.lines, bar.lang], () => bar.lines.map(x => {
    const li = make('li', '', x);
    if (bar.lang) li.lang = bar.lang;
    return li;
  }));
  $('bar-lines').classList.toggle('one', bar.lines.length === 1);
  show('absence-field', Boolean(bar.absence));
  put('bar-note', bar.note || '');
  put('bar-code', bar.code || '');
  show('know', Boolean(bar.quiet));
  show('act', Boolean(bar.main));
  const settling = Date.now() - barSince < settle;
  if (bar.main) {
    const sending = busy === 'act';
    put('act', sending ? t('sending') : settling && matchMedia('(prefers-reduced-motion: reduce)').matches ? t('read first') : bar.main.text);
    $('act').classList.toggle('settling', settling);
    $('act').classList.toggle('sending', sending);
    $('act').setAttribute('aria-disabled', String(settling || busy !== null || Boolean(bar.absence && !$('away').value.trim())));
    if (!sending && !settling) $('act').setAttribute('aria-label', bar.main.text + (bar.main.body.command === 'confirm' ? ': ' + bar.lines[0] : bar.code ? ': ' + headOf(bar.code) : ''));
    else $('act').removeAttribute('aria-label');
    $('act').setAttribute('aria-describedby', bar.main.body.command === 'reset' ? 'before-reset' : bar.caution || 'bar-note');
  }
  show('heat-returns', bar.caution === 'heat-returns');
  document.documentElement.style.setProperty('--bar', $('bar').offsetHeight + 'px');
}

// announce says a change once: title, icon, live regions, vibration, sound.
function announce(a, lost) {
  const kind = lost ? 'lost' : bar ? bar.kind : numberOf[a.level] ? a.level : '';
  document.title = (kind && shapeOf[kind] ? shapeOf[kind] + ' ' : '') + a.head.replace(/^.*: (?=.*seit)/, '') + (status && status.cabinet ? ' – ' + status.cabinet : '');
  const icon = '/icon.svg' + (kind ? '?sign=' + kind : '');
  if ($('icon').getAttribute('href') !== icon) $('icon').setAttribute('href', icon);
  const key = (lost ? 'lost' : a.level) + '|' + barKey + '|' + (lost ? '' : a.head.replace(/: .*/, ''));
  if (key === announced) return;
  const first = announced === '';
  announced = key;
  const words = [a.head, a.sub, ...(bar ? bar.lines : [])].filter(Boolean).map(x => x.replace(/\.$/, '')).join('. ') + '.';
  put(kind === 'now' || lost ? 'alert' : 'polite', words);
  if (first || !kind) { notify(); return; }
  notify(document.title, words);
  const beats = { now: [600, 200, 600, 200, 600], lost: [600, 200, 600], soon: [600, 200, 600], turn: [150, 100, 150] }[kind] || [150];
  if (navigator.vibrate && navigator.userActivation?.hasBeenActive) navigator.vibrate(beats);
  if (sound) beats.forEach((length, i) => { if (i % 2 === 0) beep(beats.slice(0, i).reduce((x, y) => x + y, 0), length); });
}

// notify puts a change before who looks elsewhere, if this browser may: one notice, in the
// place of the one before, and none once nothing is asked any more.
async function notify(title, words) {
  if (!kept.notices || !navigator.serviceWorker || Notification.permission !== 'granted') return;
  const worker = await navigator.serviceWorker.ready, tag = 'fumarium';
  if (title && document.hidden) worker.showNotification(title, { body: words, tag, renotify: true, lang: kept.language, icon: $('icon').href });
  else for (const n of await worker.getNotifications({ tag })) n.close();
}

// askNotices asks the browser, by a press alone.
async function askNotices() {
  if (kept.notices) { keep({ notices: false }); notify(); words(); return; }
  if (!window.Notification || !navigator.serviceWorker) { refused('show', t('show.notices.unsafe')); return; }
  if (await Notification.requestPermission() !== 'granted') { refused('show', t('show.notices.not')); return; }
  await navigator.serviceWorker.register('/notices.js');
  keep({ notices: true });
  refused('show', t('show.notices.on'));
  words();
}

let sound = null; // only after a tap has allowed it
function beep(after, length) {
  const o = sound.createOscillator();
  o.connect(sound.destination);
  o.frequency.value = 880;
  o.start(sound.currentTime + after / 1000);
  o.stop(sound.currentTime + (after + length) / 1000);
}

function tell(words, forMs) {
  put('told', words);
  show('told', true);
  setTimeout(() => { if ($('told').textContent === words) show('told', false); }, forMs);
}

const may = (s, lost) => c => !lost && s.commands.includes(c); // which commands can be given

function drawButtons(s, lost) {
  const can = may(s, lost);
  show('hold', can('hold'));
  show('stop', can('stop'));
  show('change', !lost && (can('hold') || can('stop')));
  show('note-box', !lost && s.state !== 'idle');
  show('smoulders', !lost && (can('hold') || can('stop') || ['stopping', 'stopped', 'aborting', 'aborted'].includes(s.state)));
  show('start', can('start'));
  show('start-body', s.state === 'idle' || $('start-body').dataset.open === 'yes');
  show('next-batch', can('start') && $('start-body').hidden);
}

function drawSays() { // what was answered, where the finger is
  for (const [area, words] of Object.entries({ bar: '', change: '', bend: '', learn: '', start: '', bring: '', maker: '', pair: '', note: '', alarms: '', show: '', ...says })) {
    const p = $('says-' + area);
    if (p.textContent !== words) p.textContent = words;
    p.hidden = words === '';
  }
  $('go').textContent = busy === 'go' ? t('sending') : $('because').hidden ? t('start') : t('start.early');
}

// refused puts the answer where the finger is, and sees that it is on screen.
function refused(area, words) {
  says = { [area]: words };
  draw();
  const p = $('says-' + area);
  if (!p.hidden) p.scrollIntoView({ block: 'center' });
}

// send hands in a command, or asks on another path; done takes the answer that was good.
async function send(body, button, { path = '/api/commands', done } = {}) {
  if (busy) return;
  const area = button.closest('[data-area]').dataset.area;
  const token = sessionStorage.getItem('token');
  says = {};
  if (body.question) answeredHere = body.question;
  try {
    busy = button.id || 'list';
    draw();
    const headers = { 'Content-Type': 'application/json' };
    if (token) headers.Authorization = 'Bearer ' + token;
    const answer = await fetch(path, { method: 'POST', signal: AbortSignal.timeout(noAnswer), headers, body: JSON.stringify(body) });
    const reply = await answer.json();
    busy = null;
    if (answer.status === 401) {
      sessionStorage.removeItem('token');
      askToken(() => send(body, button, { path, done }), token ? reply.detail : '');
    } else if (!answer.ok) {
      if (body.command === 'start') objections(reply.findings || [], reply.excusable === true);
      refused(area, t('not done', { why: said(reply.detail) }));
    } else {
      if (done) done(reply);
      if (reply.recorded === false && body.command !== 'note') refused(area, t('unrecorded', { why: reply.unrecorded }));
      if (body.command === 'note') { $('note-text').value = ''; await fetchNotes(); refused(area, t('note.kept')); }
      if (body.command === 'start') {
        $('read').checked = false; // the next batch asks again
        $('start-body').dataset.open = '';
        objections([], false);
        $('meat').value = '';
        sheet = trial = null;
      }
      if (button.closest('#bar')) $('answer').focus({ preventScroll: true });
    }
  } catch {
    busy = null;
    refused(area, t('no answer'));
  } finally {
    busy = null; // whatever happens, the next press is taken
  }
  await poll();
}

// objections are what speaks against a start; the reason is asked for along with them.
function objections(findings, excusable) {
  rebuild('findings', findings, () => findings.map(f => speak(make('li', ''), f)));
  show('findings', findings.length > 0);
  show('findings-title', findings.length > 0);
  put('findings-title', findings.length === 1 ? t('not started.one') : t('not started', { n: findings.length }));
  show('because', excusable);
  if (!excusable) $('reason').value = '';
}

let unsent = null; // what waits for the token
function askToken(again, why) {
  unsent = again;
  setPaired(false);
  show('token-says', false);
  put('token-why', why || t('token.why'));
  $('token').value = '';
  $('ask-token').showModal();
}

async function poll() {
  if (polling) return;
  polling = true;
  try {
    const answer = await fetch('/api/status', { signal: AbortSignal.timeout(3000) });
    if (answer.ok) got(await answer.json());
  } catch { /* silence says how long it has been */ }
  polling = false;
  draw();
}

// The stream brings each step as it is made; the polls stand in while there is none.
let stream = null, streamed = 0;
function listen() {
  if (!window.EventSource || stream) return;
  stream = new EventSource('/api/events');
  stream.addEventListener('status', e => { got(JSON.parse(e.data)); streamed = Date.now(); });
  stream.addEventListener('error', () => {
    if (stream.readyState === EventSource.CLOSED) { stream = null; setTimeout(listen, 30000); }
  });
}

function words() { // every fixed text of the page
  document.documentElement.lang = kept.language;
  for (const e of document.querySelectorAll('[data-t]')) e.textContent = figured(t(e.dataset.t));
  for (const e of document.querySelectorAll('[data-label]')) e.setAttribute('aria-label', t(e.dataset.label));
  for (const e of document.querySelectorAll('[data-said]')) speak(e, e.dataset.en ??= e.textContent);
  put('units', t('show.units', { now: unit() }));
  put('masses', t('show.masses', { now: pounds() ? 'lb' : 'kg' }));
  put('meat-note', t('start.meat.note', { example: pounds() ? '11 lb 4 oz' : '4.2 kg' }));
  $('maker-mass').placeholder = pounds() ? '6 lb 10 oz' : '3 kg';
  const wall = document.documentElement.dataset.view === 'wall';
  put('view', t(wall ? 'show.desk' : 'show.wall'));
  put('notices', t(kept.notices ? 'show.notices.stop' : 'show.notices'));
  put('sound', t(sound ? 'show.sound.off' : 'show.sound'));
}

function dress() {
  const asked = new URLSearchParams(location.search).get('view');
  if (asked) keep({ view: asked });
  document.documentElement.dataset.view = kept.view === 'wall' ? 'wall' : 'desk';
  document.documentElement.dataset.scheme = kept.scheme || '';
  words();
  if (status) { draw(); drawStart(); drawLine(status); readOut(); }
}

const press = (id, does) => $(id).addEventListener('click', e => { if ($(id).getAttribute('aria-disabled') !== 'true') does(e); });
press('act', () => {
  const body = { ...bar.main.body };
  if (bar.absence) body.for = $('away').value.trim();
  send(body, $('act'));
});
press('know', () => bar && bar.quiet && send(bar.quiet, $('know')));
press('hold', () => send({ command: 'hold' }, $('hold')));
press('stop', () => {
  const s = status;
  put('stop-what', known(s.core_celsius) && known(s.core_target_celsius) ? t('stop.core', { now: degrees(s.core_celsius, 'least'), to: temperature(s.core_target_celsius) }) : t('stop.plain'));
  $('ask-stop').showModal();
});
press('keep', () => $('ask-stop').close());
press('really-stop', () => { $('ask-stop').close(); send({ command: 'stop' }, $('stop')); });
press('go', () => {
  if (!$('read').checked) { refused('start', t('start.unread')); return; }
  if (!$('choice').value) { refused('start', t('start.none')); return; }
  const order = { command: 'start', ...chosen() };
  if (stuffedAt()) order.stuffed_at = stuffedAt();
  if ($('reason').value.trim()) order.reason = $('reason').value.trim();
  send(order, $('go'));
});
press('next-batch', () => { $('start-body').dataset.open = 'yes'; draw(); });
$('away').addEventListener('input', () => draw());
$('note-form').addEventListener('submit', e => { e.preventDefault(); if ($('note-text').value.trim()) send({ command: 'note', text: $('note-text').value.trim() }, $('note-keep')); });
$('absence-field').addEventListener('submit', e => { e.preventDefault(); $('act').click(); });
press('token-cancel', () => { unsent = null; $('ask-token').close(); });
$('token-form').addEventListener('submit', async e => {
  e.preventDefault();
  if (!await tokenGiven()) return;
  $('ask-token').close();
  if (unsent) unsent();
});
press('units', () => { keep({ mass: pounds() ? 'lb' : 'kg', units: fahrenheit() ? 'C' : 'F' }); dress(); });
press('masses', () => { keep({ mass: pounds() ? 'kg' : 'lb' }); dress(); });
press('language', () => { keep({ language: kept.language === 'en' ? 'de' : 'en' }); announced = ''; dress(); });
press('scheme', () => { keep({ scheme: (kept.scheme || (matchMedia('(prefers-color-scheme: dark)').matches ? 'dark' : 'light')) === 'dark' ? 'light' : 'dark' }); dress(); });
press('view', () => { history.replaceState(null, '', '/'); keep({ view: kept.view === 'wall' ? 'desk' : 'wall' }); dress(); });
press('sound', () => { if (sound) { sound.close(); sound = null; } else { sound = new AudioContext(); beep(0, 100); } words(); });
press('notices', askNotices);
press('say-all', () => { put('polite', ''); setTimeout(() => put('polite', [$('answer').innerText, $('food-line').innerText, bar ? bar.lines.join(' ') : '', $('figure').innerText, $('rail').innerText].join('. ').replace(/\s+/g, ' ')), 50); });
addEventListener('keydown', e => { if (e.altKey && e.key === '1') { $(bar ? 'bar' : 'answer').focus(); e.preventDefault(); } });

dress();
lineEvents();
startEvents();
makerEvents();
pairEvents();
bendEvents();
learnEvents();
listen();
poll();
setInterval(() => { if (Date.now() - streamed > 2 * pollEvery) poll(); else draw(); }, pollEvery);
setInterval(fetchCurves, curveEvery);
setTimeout(fetchCurves, 500);
let last = '';
setInterval(() => { const now = status ? status.state + status.product + (status.stage ? status.stage.index : '') : ''; if (now !== last) { last = now; fetchCurves(); } }, 300);
new ResizeObserver(() => { leaders(); if (status) drawLine(status); }).observe($('main'));
document.addEventListener('visibilitychange', () => { if (!document.hidden) { poll(); fetchCurves(); } });
