// Which browsers may act: this one enters by a scanned code, and shows who else may.
// scanned takes the code that a QR code brought behind the #, and takes it out of sight.
async function scanned() {
  const found = location.hash.match(/^#pair=([0-9A-Za-z-]{8,9})$/);
  if (!found) return;
  history.replaceState(null, '', location.pathname + location.search);
  const { why, name } = await enter(found[1]);
  if (why) { refused('pair', why); return; }
  tell(t('pair.done', { name }), 5000);
  lookUp();
}

async function showSessions() {
  const headers = {}, token = sessionStorage.getItem('token');
  if (token) headers.Authorization = 'Bearer ' + token;
  try {
    const answer = await fetch('/api/sessions', { headers, signal: AbortSignal.timeout(5000) });
    if (answer.status === 401) { setPaired(false); put('pair-none', t('pair.look')); rebuild('sessions', [], () => []); show('pair-code', false); return; }
    const list = (await answer.json()).sessions;
    put('pair-none', list.length ? '' : t('pair.nobody'));
    rebuild('sessions', list, () => list.map(s => {
      const b = make('button', '', t('pair.away'));
      b.type = 'button';
      b.setAttribute('aria-label', t('pair.away') + ': ' + s.name);
      b.addEventListener('click', () => takeAway(s));
      return make('li', '', make('div', '', make('b', '', s.name + (s.mine ? ' ' + t('pair.mine') : '')), make('p', 'faint', t('pair.from', { from: s.from, made: s.made.slice(0, 10), id: s.id }))), b);
    }));
  } catch { /* the next look asks again */ }
}

async function takeAway(s) {
  const got = await post('/api/sessions/revoke', { session: s.id }, () => takeAway(s));
  if (got.status === 401) return;
  if (!got.ok) refused('pair', said(got.reply.detail));
  if (s.mine) setPaired(false);
  await showSessions();
}

async function newCode() {
  const got = await post('/api/pairings', { name: $('pair-name').value.trim() }, newCode, t('token.why'));
  if (got.status === 401) return;
  if (!got.ok) { refused('pair', said(got.reply.detail)); return; }
  const svg = new DOMParser().parseFromString(got.reply.svg, 'image/svg+xml').documentElement;
  svg.setAttribute('role', 'img');
  svg.setAttribute('aria-label', t('pair.qr'));
  $('pair-qr').replaceChildren(document.importNode(svg, true));
  put('pair-text', t('pair.text', { code: got.reply.code, until: new Date(got.reply.until).toTimeString().slice(0, 5), url: got.reply.url.replace(/#.*/, '') }) + (got.reply.open ? '' : ' ' + t('pair.closed')));
  show('pair-code', true);
  $('pair-text').scrollIntoView({ block: 'center' });
}

function pairEvents() {
  $('pair-box').addEventListener('toggle', () => { if ($('pair-box').open) showSessions(); });
  $('pair-form').addEventListener('submit', e => { e.preventDefault(); newCode(); });
  addEventListener('hashchange', scanned);
  scanned();
}
