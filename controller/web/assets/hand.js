// What people put on the record of a batch: one way to send it, and the marks and photographs
// that both pages of a batch show.
let handAgain = null; // what waits for the token

// handSend gives the reply, words for people, or nothing while the token is asked for.
async function handSend(path, type, body, again) {
  const token = sessionStorage.getItem('token'), headers = { 'Content-Type': type };
  if (token) headers.Authorization = 'Bearer ' + token;
  try {
    const answer = await fetch(path, { method: 'POST', signal: AbortSignal.timeout(30000), headers, body });
    const reply = await answer.json();
    if (answer.status === 401) {
      sessionStorage.removeItem('token');
      setPaired(false);
      handAgain = again;
      $('token').value = '';
      put('token-says', token ? capital(said(reply.detail)) : '');
      show('token-says', token !== null);
      $('ask-token').showModal();
      return null;
    }
    return answer.ok ? { reply } : { words: t('not done', { why: said(reply.detail) }) };
  } catch { // nobody knows whether it was kept
    return { words: t('no answer') };
  }
}
const handOrder = (order, again) => handSend('/api/commands', 'application/json', JSON.stringify(order), again);

// handSays shows what became of it where it can be seen.
// deviation says what is off the make sheet, with what went in by its name in this language.
function deviation(text) {
  const [, cure = '', name] = text.match(/^(CURE )?(.*?): .* weighed, and the sheet /) || [], [, of, than] = text.match(/^(\w+) weighs more than (\w+),/) || [];
  if (of) return said(text.replace(of, t('hand.' + of)).replace(than, t('hand.' + than)));
  return name ? (cure && t('hand.cure') + ' ') + said(text.slice(cure.length).replace(name, wrote(name))) : said(text);
}

function handSays(id, sent) {
  const r = sent.reply;
  put(id, r ? [t('note.kept'), ...(r.deviations || []).map(deviation)].join('\n') : sent.words); // the form shows what it is now
  show(id, true);
  $(id).scrollIntoView({ block: 'center' });
}

async function handGet(path) {
  const answer = await fetch(path, { signal: AbortSignal.timeout(15000) });
  const body = await answer.json();
  if (!answer.ok) throw new Error(body.detail);
  return body;
}
const factsPath = batch => '/api/batches/' + encodeURIComponent(batch) + '/facts';

// handMarks shows a row of five buttons for each trait, and adds what is pressed.
function handMarks(f) {
  const traits = [...new Set([...f.traits, ...f.marks.map(m => m.trait)])];
  $('mark-list').replaceChildren(...traits.map(trait => {
    const given = f.marks.find(m => m.trait === trait), name = has('trait.' + trait) ? t('trait.' + trait) : trait;
    const buttons = [1, 2, 3, 4, 5].map(n => {
      const b = make('button', '', String(n));
      b.type = 'button';
      b.setAttribute('aria-pressed', String(known(given) && given.mark === n));
      b.setAttribute('aria-label', t('hand.mark', { trait: name, n }));
      b.addEventListener('click', () => handRate(f.batch, trait, n));
      return b;
    });
    const half = known(given) && given.mark % 1 ? ' ' + number(given.mark, 1) : '';
    return make('li', '', make('span', '', name + half), make('div', 'five', ...buttons));
  }));
}

async function handRate(batch, trait, mark) {
  const sent = await handOrder({ command: 'rate', batch, what: trait, mark: String(mark) }, () => handRate(batch, trait, mark));
  if (!sent) return;
  handSays('mark-says', sent);
  if (sent.reply) handMarks(await handGet(factsPath(batch)));
}

function handPhotos(f) {
  $('photo-list').replaceChildren(...f.photos.map(p => {
    const seen = make('img', '');
    seen.src = '/api/batches/' + encodeURIComponent(f.batch) + '/photos/' + encodeURIComponent(p.name);
    seen.alt = p.text || t('hand.photo', { name: p.name });
    const hash = make('span', 'faint', p.name + ', SHA-256 ' + p.sha256.slice(0, 16) + '…');
    return make('li', '', p.whole ? seen : make('b', '', t('hand.photo lost', { name: p.name })), make('p', '', p.text), hash);
  }));
}

// smaller is a photograph as a JPEG of at most 1600 points, so that no phone's megabytes are kept.
async function smaller(file) {
  const picture = await createImageBitmap(file), most = 1600, scale = Math.min(1, most / Math.max(picture.width, picture.height));
  const canvas = document.createElement('canvas');
  canvas.width = Math.max(1, Math.round(picture.width * scale));
  canvas.height = Math.max(1, Math.round(picture.height * scale));
  canvas.getContext('2d').drawImage(picture, 0, 0, canvas.width, canvas.height);
  return new Promise(done => canvas.toBlob(done, 'image/jpeg', 0.8));
}

async function handPhoto(batch) {
  const file = $('photo-file').files[0];
  let sent = { words: t('hand.no photo') };
  if (file) {
    try {
      sent = await handSend('/api/batches/' + encodeURIComponent(batch) + '/photos?text=' + encodeURIComponent($('photo-text').value.trim()), 'image/jpeg', await smaller(file), () => handPhoto(batch));
    } catch { /* it is no photograph */ }
  }
  if (!sent) return;
  handSays('photo-says', sent);
  if (sent.reply) {
    $('photo-file').value = $('photo-text').value = '';
    handPhotos(await handGet(factsPath(batch)));
  }
}

// handStart puts the texts of a page where they belong, and what both pages have to work.
function handStart(batch) {
  document.documentElement.lang = kept.language;
  document.documentElement.dataset.scheme = kept.scheme || '';
  for (const e of document.querySelectorAll('[data-t]')) e.textContent = t(e.dataset.t);
  for (const e of document.querySelectorAll('[data-label]')) e.setAttribute('aria-label', t(e.dataset.label));
  $('token-cancel').addEventListener('click', () => $('ask-token').close());
  $('token-form').addEventListener('submit', async e => {
    e.preventDefault();
    if (!await tokenGiven()) return;
    $('ask-token').close();
    if (handAgain) handAgain();
  });
  $('photo-form').addEventListener('submit', e => { e.preventDefault(); handPhoto(batch()); });
  $('trait-form').addEventListener('submit', e => {
    e.preventDefault();
    const trait = $('trait').value.trim().toLowerCase();
    if (trait) handRate(batch(), trait, $('trait-mark').value);
  });
}
