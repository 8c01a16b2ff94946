// What if: what the batch would come to with another chamber, another damper or a cold night,
// beside what is foretold now. It changes nothing.
let supposed = null, supposedOf = '', ifStage = '';

// ifOrder is what is asked, as the API takes it. A time of day is the next such time.
function ifOrder() {
  const what = $('if-what').value;
  if (what === 'open' || what === 'shut') return { damper: what };
  const typed = $('if-by').value.trim().replace(/(\d),(\d)/, '$1.$2').replace('−', '-');
  const by = /^[-+]?[\d.]+$/.test(typed) ? (/^[-+]/.test(typed) ? '' : '+') + typed + ' ' + difference() : typed;
  if (what === 'chamber') return { chamber: by };
  const order = { room: by }, clock = $('if-from').value;
  if (clock) {
    const now = new Date(status.time), at = new Date(now);
    at.setHours(...clock.split(':').map(Number), 0, 0);
    if (at <= now) at.setDate(at.getDate() + 1);
    order.from = at.toISOString();
  }
  return order;
}

const difference = () => fahrenheit() ? 'F' : 'K';

function drawIf(s) {
  show('if', known(s.change) && known(s.change.chamber_celsius) && s.trip === null && silence() === null);
  if (!$('ask-if').open) return;
  const what = $('if-what').value, gone = !s.change || s.change.stage !== ifStage || silence() !== null;
  $('if-go').disabled = gone;
  if (gone) { says = { if: t('if.gone') }; supposed = null; }
  show('if-amount', what === 'chamber' || what === 'cold');
  show('if-when', what === 'cold');
  put('if-label', t(what === 'cold' ? 'if.room by' : 'if.chamber by', { unit: fahrenheit() ? '°F' : 'K' }));
  if (supposed && supposedOf !== JSON.stringify(ifOrder())) supposed = null;
  put('if-go', t(busy === 'if-go' ? 'bend.looking' : 'bend.look'));
  rebuild('if-answer', supposed, () => supposed ? ifAnswer(supposed) : []);
}

// ifAnswer says both forecasts beside each other, and what it would cost.
function ifAnswer(e) {
  const row = (key, at) => make('tr', '', make('th', '', t(key)), make('td', '', at(e.now)), make('td', 'strong', at(e.then)));
  const rows = [row('if.middle', r => t('about', { time: dayed(r.middle) })), row('if.spread', r => t('between', { from: firstOf(r.earliest, r.latest), to: dayed(r.latest) }))];
  for (const r of rows) r.firstChild.scope = 'row';
  const head = make('tr', '', make('td', '', ''), make('th', '', t('bend.before')), make('th', '', t('bend.after')));
  for (const cell of head.querySelectorAll('th')) cell.scope = 'col';
  const cost = e.worse > 0 ? [make('p', 'strong', t('if.worse', { n: e.worse, of: e.rehearsals }))] : [];
  return [make('table', '', make('thead', '', head), make('tbody', '', ...rows)), ...cost, make('p', 'faint', t('if.model', { n: e.rehearsals }))];
}

function fillIf() {
  $('if-by').value = $('if-what').value === 'cold' ? (fahrenheit() ? '-14' : '-8') : fahrenheit() ? '+9' : '+5';
  supposed = null;
  delete says.if;
  draw();
}

function ifEvents() {
  $('if').addEventListener('click', () => {
    if (!status || !status.change) return;
    ifStage = status.change.stage;
    $('if-what').replaceChildren(...['chamber', 'open', 'shut', 'cold'].map(what => {
      const option = make('option', '', t('if.what.' + what));
      option.value = what;
      return option;
    }));
    $('if-from').value = '22:00';
    $('ask-if').showModal();
    fillIf();
  });
  $('if-what').addEventListener('change', fillIf);
  for (const id of ['if-by', 'if-from']) $(id).addEventListener('input', () => draw());
  $('if-leave').addEventListener('click', () => $('ask-if').close());
  $('if-form').addEventListener('submit', e => {
    e.preventDefault();
    const order = ifOrder();
    send(order, $('if-go'), { path: '/api/rehearse/suppose', done: reply => { supposed = reply; supposedOf = JSON.stringify(order); draw(); $('if-answer').scrollIntoView({ block: 'nearest' }); } });
  });
}
