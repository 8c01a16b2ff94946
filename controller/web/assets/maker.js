// The product assistant: each choice says what the next ones may be.
const makerFields = ['kind', 'place', 'meat', 'fat', 'percent', 'casing', 'cure', 'core'];
let offered = null, offersAsked = 0;

const chosenHere = () => Object.fromEntries(makerFields.map(f => [f, $('maker-' + f).value]).filter(([, v]) => v));

async function offer() {
  const mine = ++offersAsked; // an older answer would take back what was chosen since
  try {
    // A choice may take away what a later one was: ask until nothing changes any more.
    for (let i = 0; i < makerFields.length; i++) {
      const asked = chosenHere(), got = await fetch('/api/assistant?' + new URLSearchParams(asked), { signal: AbortSignal.timeout(5000) });
      const next = got.ok ? await got.json() : null;
      if (!next || mine !== offersAsked) return;
      offered = next;
      for (const f of makerFields) {
        const list = offered[f + 's'] || [], was = $('maker-' + f).value;
        rebuild('maker-' + f, list, () => list.map(o => { const e = speak(make('option', ''), o.words); e.value = o.key; return e; }));
        if (list.some(o => o.key === was)) $('maker-' + f).value = was;
        show('maker-' + f + '-box', list.length > 1);
      }
      if (JSON.stringify(asked) === JSON.stringify(chosenHere())) break;
    }
    for (const f of ['meat', 'fat']) put('maker-' + f + '-source', ((offered[f + 's'] || []).find(o => o.key === $('maker-' + f).value) || {}).source || '');
  } catch { /* the next choice asks again */ }
}

async function makeProduct() {
  if (!$('maker-name').value.trim()) { refused('maker', t('maker.unnamed')); return; }
  try {
    const got = await post('/api/assistant', { name: $('maker-name').value.trim(), mass: $('maker-mass').value.trim() || $('maker-mass').placeholder, ...chosenHere() }, makeProduct, t('start.token'));
    if (got.status === 401) return;
    if (!got.ok) {
      rebuild('maker-findings', got.reply.findings || [], () => (got.reply.findings || []).map(f => speak(make('li', ''), f)));
      show('maker-findings', (got.reply.findings || []).length > 0);
      refused('maker', capital(said(got.reply.detail)));
      return;
    }
    const keepIt = over => keepProduct(over ? { ...got.reply, replace: 'yes' } : got.reply, 'maker', () => keepIt(over), () => keepIt(true));
    await keepIt(false);
  } catch {
    refused('maker', t('no answer'));
  }
}

function makerEvents() {
  $('maker').addEventListener('toggle', () => { if ($('maker').open) offer(); });
  for (const f of makerFields) $('maker-' + f).addEventListener('change', () => { says = {}; draw(); offer(); });
  $('maker-form').addEventListener('submit', e => { e.preventDefault(); makeProduct(); });
}
