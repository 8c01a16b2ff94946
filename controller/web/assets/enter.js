// How a browser comes to act, on every page: by a code, which gives it a session, or by the
// operator's token, kept until its tab is closed.
const noAnswer = 15000; // ms
const pairedKey = 'paired';
const paired = () => { try { return localStorage.getItem(pairedKey) === 'yes'; } catch { return false; } };
const setPaired = on => { try { if (on) localStorage.setItem(pairedKey, 'yes'); else localStorage.removeItem(pairedKey); } catch { /* the cookie says it */ } };

// isCode tells a code from a token, which is longer.
const isCode = text => /^[2-9A-HJKMNP-Za-hjkmnp-z]{4}[-\s]?[2-9A-HJKMNP-Za-hjkmnp-z]{4}$/.test(text);

// enter gives this browser a session for a code: its name, or why not.
async function enter(code) {
  try {
    const answer = await fetch('/api/sessions', { method: 'POST', signal: AbortSignal.timeout(noAnswer), headers: { 'Content-Type': 'application/json' }, body: JSON.stringify({ code }) });
    const reply = await answer.json();
    if (!answer.ok) return { why: said(reply.detail) };
    setPaired(true);
    sessionStorage.removeItem('token');
    return { name: reply.name };
  } catch {
    return { why: t('no answer') };
  }
}

// tokenGiven takes what was typed into the token's dialog; it says why it does not do.
async function tokenGiven() {
  const typed = $('token').value.trim();
  const { why } = isCode(typed) ? await enter(typed) : {};
  if (!why && !isCode(typed)) sessionStorage.setItem('token', typed);
  put('token-says', why || '');
  show('token-says', Boolean(why));
  return !why;
}
