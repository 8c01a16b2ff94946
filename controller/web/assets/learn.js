// How the cabinet learns: the button that begins it, how far it is, and what came of it.
function drawLearn(s, can) {
  const l = s.learning, done = s.learned;
  show('learn', can('tune') || l !== null || done !== null);
  show('learn-box', can('tune'));
  show('learn-now', l !== null);
  show('learn-bar', l !== null && known(l.progress_ratio));
  if (l) {
    const at = temperature(l.target_celsius), fan = t(l.fan ? 'learn.fan on' : 'learn.fan off');
    put('learn-now', t('learn.' + (['rest', 'full power'].includes(l.phase) ? l.phase : 'relay'), { fan, at, n: Math.min(l.cycles, l.cycles_wanted), of: l.cycles_wanted }) +
      (known(s.heat_left_seconds) ? ' ' + t('learn.ends', { time: duration(s.heat_left_seconds) }) : ''));
    $('learn-bar').value = l.progress_ratio ?? 0;
  }
  show('learned', done !== null);
  rebuild('learned', [done], () => done ? [...done.lines, done.kept, done.do].filter(Boolean).map(text => speak(make('li', ''), text)) : []);
}

function learnEvents() {
  press('learn-go', () => send({ command: 'tune' }, $('learn-go')));
}
