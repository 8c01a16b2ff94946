// Weights and lots, put down where they arise: the make sheet of a product before its batch is
// started, kept in this browser until it goes on the record; and the form of a batch, under way
// or over, of which each line goes on the record at once.
const weighAsked = new URLSearchParams(location.search);
let weighBatch = weighAsked.get('batch') || '', weighFacts = null;
const draftName = weighAsked.get('product') || '', draftKey = 'sheet ' + draftName + ' ' + (weighAsked.get('meat') || '');
let draft = {}; // by line: what was typed
try { draft = JSON.parse(localStorage.getItem(draftKey) || '{}'); } catch { /* an empty sheet */ }
const moments = ['raw', 'hung', 'cooked', 'packed'];

const gramsText = kg => kg < 1 ? number(kg * 1000, kg < 0.01 ? 2 : 1) + '\u00a0g' : number(kg, 3) + '\u00a0kg';
const massUnit = line => known(line.sheet_kg) && line.sheet_kg < 1 ? 'g' : 'kg';
// massSaid is what was typed, with the unit that the line is in unless another was given.
function massSaid(line, typed) {
  const text = typed.trim().replace(',', '.');
  return text && /^[\d.]+$/.test(text) ? text + ' ' + massUnit(line) : text;
}

// apartText is by how much a weight is off the sheet.
function apartText(line, kg) {
  if (!known(line.sheet_kg) || !line.sheet_kg || !known(kg)) return '';
  const off = (kg / line.sheet_kg - 1) * 100;
  return t(Math.abs(off) > 10 ? 'hand.off' : 'hand.near', { off: (off < 0 ? '' : '+') + number(off, 1) });
}

function linesOf(f) {
  const s = f.sheet, lots = list => list.map(p => (p.lot || t('hand.no lot')) + (known(p.kg) ? ' ' + gramsText(p.kg) : '')).join(', ');
  const lines = s.items.map(i => ({ name: i.name, title: wrote(i.name), sheet_kg: i.sheet_kg, kg: i.taken_kg, off: i.off, lots: lots(i.portions), lot: true }));
  lines.push({ name: 'casing', title: t('hand.casing'), kg: null, lots: lots(s.casing), lot: true });
  const weighed = { raw: s.raw_kg, hung: s.hung_kg, cooked: s.cooked_kg, packed: s.packed_kg };
  for (const m of f.batch ? moments : ['raw', 'hung']) {
    const packs = m === 'packed' && s.packs.length ? t('hand.packs', { n: s.packs.length }) : '';
    lines.push({ name: m, title: t('hand.' + m), kg: weighed[m], lots: packs, lot: false, moment: true });
  }
  return lines;
}

function weighRow(line, n) {
  const field = (kind, mode, label) => {
    const input = make('input', kind);
    Object.assign(input, { type: 'text', id: kind + '-' + n, autocomplete: 'off', maxLength: kind === 'lot' ? 80 : 20 });
    input.inputMode = mode;
    input.setAttribute('aria-label', label);
    input.placeholder = kind === 'lot' ? t('hand.lot') : massUnit(line);
    input.value = (draft[line.name] || {})[kind] || '';
    input.addEventListener('input', () => {
      if (!draftName) return;
      draft[line.name] = { ...draft[line.name], [kind]: input.value };
      localStorage.setItem(draftKey, JSON.stringify(draft));
    });
    return input;
  };
  const mass = field('mass', 'decimal', t('hand.mass of', { what: line.title })), parts = [mass];
  if (line.name === 'casing') parts.pop();
  if (line.lot) parts.push(field('lot', 'text', t('hand.lot of', { what: line.title })));
  const as = (id, text, act) => {
    const b = make('button', id, text);
    b.type = 'button';
    b.id = id + '-' + n;
    b.addEventListener('click', act);
    return b;
  };
  if (known(line.sheet_kg)) parts.push(as('as', t('hand.as sheet'), () => {
    mass.value = gramsText(line.sheet_kg).replace('\u00a0', ' ');
    mass.dispatchEvent(new Event('input'));
  }));
  if (!draftName) parts.push(as('keep', t('hand.keep'), () => weighLine(line, n)));
  const taken = known(line.kg) || line.lots;
  const row = make('li', (line.off ? 'off' : '') + (taken ? ' taken' : ''),
    make('div', 'line', make('b', '', (taken ? '✓ ' : '') + line.title), known(line.sheet_kg) ? make('span', 'faint', t('hand.sheet', { mass: gramsText(line.sheet_kg) })) : ''),
    taken ? make('p', 'so', [known(line.kg) ? gramsText(line.kg) : '', apartText(line, line.kg), line.lots].filter(x => x).join(' · ')) : '',
    make('div', 'fields', ...parts));
  return row;
}

function showWeigh() {
  const f = weighFacts, lines = linesOf(f);
  put('past-title', f.product);
  put('weigh-of', f.batch ? t('hand.batch', { batch: f.batch }) : t('hand.before'));
  $('weigh-list').replaceChildren(...lines.map((line, n) => line.moment ? '' : weighRow(line, n)).filter(x => x));
  $('moment-list').replaceChildren(...lines.map((line, n) => line.moment ? weighRow(line, n) : '').filter(x => x));
  const wrong = [...f.sheet.deviations, ...f.heavier, ...(f.bad ? [f.remedy] : [])];
  $('weigh-off').replaceChildren(...wrong.map(x => make('li', '', deviation(x))));
  show('weigh-off', wrong.length > 0);
  $('weigh-off').classList.toggle('bad', f.bad);
  const yields = f.yields.map(y => t('hand.yield', { what: t('hand.' + y.what), of: t('hand.' + y.of), share: percent(y.ratio) }));
  $('yield-list').replaceChildren(...[...yields, ...(f.sheet.uptake ? [said(f.sheet.uptake)] : [])].map(x => make('li', '', x)));
  show('weigh-form', true);
  show('draft-acts', !f.batch);
  show('weigh-batch-only', !!f.batch);
  if (f.batch) {
    handMarks(f);
    handPhotos(f);
  }
}

async function weighLine(line, n) {
  const order = { command: 'weigh', batch: weighBatch, what: line.name };
  const mass = $('mass-' + n) ? massSaid(line, $('mass-' + n).value) : '', lot = $('lot-' + n) ? $('lot-' + n).value.trim() : '';
  if (mass) order.mass = mass;
  if (lot) order.lot = lot;
  const sent = await handOrder(order, () => weighLine(line, n));
  if (!sent) return;
  if (sent.reply) {
    weighFacts = await handGet(factsPath(weighBatch));
    showWeigh();
  }
  handSays('weigh-says', sent);
}

// draftForm is the sheet as the form that the command line fills in, too.
function draftForm() {
  const quoted = s => '"' + s.replaceAll('"', '""') + '"';
  const rows = linesOf(weighFacts).map(line => {
    const d = draft[line.name] || {};
    return [line.name, '', massSaid(line, d.mass || ''), (d.lot || '').trim()].map(quoted).join(',');
  });
  return ['what,sheet,weighed,lot', ...rows].join('\n') + '\n';
}

async function holdDraft(form) {
  const body = { product: draftName, ...(weighAsked.get('meat') ? { meat: weighAsked.get('meat') } : {}), ...(form ? { form } : {}) };
  const sent = await handSend('/api/sheet', 'application/json', JSON.stringify(body), () => holdDraft(form));
  if (!sent) return;
  if (sent.reply) {
    weighFacts = sent.reply;
    showWeigh();
  }
  if (sent.words || form) handSays('weigh-says', sent.words ? sent : { words: weighFacts.sheet.deviations.length ? t('hand.held off') : t('hand.held') });
}

// recordDraft puts the sheet on the record of the batch that was started of it.
async function recordDraft() {
  const status = await handGet('/api/status');
  if (!status.batch) {
    handSays('weigh-says', { words: t('hand.no batch') });
    return;
  }
  const sent = await handOrder({ command: 'weigh', batch: status.batch, form: draftForm() }, recordDraft);
  if (!sent) return;
  handSays('weigh-says', sent);
  if (sent.reply) {
    localStorage.removeItem(draftKey);
    location.href = '/weigh?batch=' + encodeURIComponent(status.batch);
  }
}

async function startWeigh() {
  try {
    const list = await handGet('/api/products');
    $('pick-product').replaceChildren(...list.products.map(p => new Option(p, p)));
    if (draftName) {
      $('pick-product').value = draftName;
      await holdDraft('');
      return;
    }
    weighBatch = weighBatch || (await handGet('/api/status')).batch || '';
    if (!weighBatch) {
      put('weigh-of', t('hand.no batch'));
      return;
    }
    weighFacts = await handGet(factsPath(weighBatch));
    showWeigh();
  } catch (e) {
    handSays('weigh-says', { words: t('past.failed', { why: e.message }) });
  }
}

handStart(() => weighBatch);
$('draft-hold').addEventListener('click', () => holdDraft(draftForm()));
$('draft-record').addEventListener('click', recordDraft);
$('pick-form').addEventListener('submit', e => {
  e.preventDefault();
  const meat = massSaid({}, $('pick-meat').value);
  location.href = '/weigh?product=' + encodeURIComponent($('pick-product').value) + (meat ? '&meat=' + encodeURIComponent(meat) : '');
});
startWeigh();
