// What of the cabinet is due to be looked after, below the list of batches.
async function showUpkeep() {
  let u;
  try { u = await handGet('/api/upkeep'); } catch { return; } // a daemon without
  show('upkeep', true);
  put('upkeep-copies', u.copies || '');
  show('upkeep-copies', !!u.copies);
  const due = u.tasks.filter(x => x.due).length + u.calibration.length;
  put('upkeep-head', due ? t(due === 1 ? 'upkeep.due.one' : 'upkeep.due', { n: due }) : t('upkeep.none'));
  $('upkeep-list').replaceChildren(...u.tasks.map(x => {
    const done = make('button', '', t('upkeep.done')), words = speak(make('p', 'faint'), x.text), since = make('p', 'faint', x.since.split(', ').map(said).join(', '));
    done.type = 'button';
    done.setAttribute('aria-label', t('upkeep.done of', { what: t('task.' + x.task) }));
    done.addEventListener('click', () => doneUpkeep(x.task));
    return make('li', x.due ? 'due' : '', make('b', '', (x.due ? '■ ' : '') + t('task.' + x.task)), words, since, done);
  }), ...u.calibration.map(x => make('li', 'due', make('b', '', '■ ' + t('task.calibration')), make('p', 'faint', x))));
  $('wood-list').replaceChildren(...u.wood.map(w => make('li', '', t('upkeep.wood', { species: w.species, mass: number(w.kilograms, 2) }))));
}

async function doneUpkeep(task) {
  const sent = await handSend('/api/upkeep', 'application/json', JSON.stringify({ task }), () => doneUpkeep(task));
  if (!sent) return;
  if (sent.reply) await showUpkeep();
  else handSays('past-says', sent);
}
