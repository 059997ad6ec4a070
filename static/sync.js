// Whether the station can be reached, which only the server's own answer says, and sending what
// this tablet wrote: one record at a time, again and again until there is a receipt for each.
import { enrolledAs } from './key.js';
import { all, holds, isReceipt, receive, refuse, settleWith, signed, unsent } from './outbox.js';
import { ask, note } from './store.js';

const HEAD_LIMIT = 3000;
const SEND_LIMIT = 5000;
// Between two looks while all is well; and the longest wait while it is not.
const WELL = 20000;
const LONGEST = 8000;
// What the server did not take for a record is offered to it again after so long.
const REFUSED_AGAIN = 3600 * 1000;
const LIST_AGAIN = 600 * 1000;

/** What is known of the station: null before the first answer; then whether it can be reached. */
export const station = { reached: null, at: 0, head: null, offset: null };

/** While records are sent from this page: how many of how many the server has taken. */
export const sending = { done: 0, of: 0 };

const listeners = new Set();
/** Calls back whenever something new is known of the station. */
export const onStation = (listener) => { listeners.add(listener); };

async function json(path, limit, options = {}) {
  const signal = AbortSignal.timeout(limit);
  const response = await fetch(path, { cache: 'no-store', redirect: 'error', signal, ...options });
  return { status: response.status, answer: await response.json() };
}

// An enrolled tablet says what it still holds. A store that does not answer keeps no question waiting.
const ownWord = async () => {
  const word = await Promise.race([enrolledAs().then((id) => id && holds()), new Promise((done) => { setTimeout(done, 500); })]);
  return word ? { 'airmuster-holds': word } : {};
};

let asking = null;
/** Asks the server; whether it answered as itself. A network that answers in its place does not count. */
export function reach() {
  asking ??= (async () => {
    const headers = await ownWord().catch(() => ({}));
    const [asked, since] = [Date.now(), performance.now()];
    const { answer } = await json('/api/v1/head', HEAD_LIMIT, { headers }).catch(() => ({}));
    const reached = typeof answer?.epoch === 'string' && Number.isInteger(answer.now) && Number.isInteger(answer.seq);
    Object.assign(station, { reached, at: performance.now() });
    if (reached) {
      const offset = Math.round(answer.now - asked - (performance.now() - since) / 2);
      Object.assign(station, { head: answer, offset });
      await note('clock', { offset, at: Date.now() }).catch(() => {});
    }
    for (const listener of listeners) listener(station);
    return reached;
  })().finally(() => { asking = null; });
  return asking;
}

// ---------------------------------------------------------------- sending

/** Sends one record; whether the server has taken it. Throws when the server cannot be reached. */
export async function sendOne(row) {
  const { signature } = await signed(row).catch(() => row);
  const headers = {
    'content-type': 'application/json',
    ...(signature && { 'airmuster-signature': signature }), ...(row.seal && { 'airmuster-seal': row.seal }),
  };
  const { status, answer } = await json('/api/v1/records', SEND_LIMIT, {
    method: 'POST', headers, body: row.text, keepalive: true,
  }).catch((e) => {
    // What is not JSON came from somebody, though not from the server as we know it.
    if (e instanceof SyntaxError) return { status: 0 };
    throw e;
  });
  if (isReceipt(answer, row)) {
    await receive(row, answer).catch(() => {});
    return true;
  }
  if ([403, 422].includes(status) && answer?.status === 'refused') await refuse(row, String(answer.say)).catch(() => {});
  if (status === 503) throw new Error('later');
  return false;
}

const tries = new Map();

/** The order in which to try: what failed waits until the others have had their turn. */
export const inTurn = (rows) => [...rows].sort((a, b) => (tries.get(a.id) ?? 0) - (tries.get(b.id) ?? 0));

// Two pages sending at once would do no harm, only the same work twice.
const alone = (work) => (navigator.locks
  ? navigator.locks.request('airmuster outbox', { ifAvailable: true }, (lock) => (lock ? work() : true))
  : work());

async function sendAll(now) {
  const due = ({ state, refused }) => state === 'saved' || now || Math.abs(Date.now() - refused) > REFUSED_AGAIN;
  let good = true;
  let failed = 0;
  const rows = inTurn((await unsent()).filter(due));
  Object.assign(sending, { done: 0, of: rows.length });
  try {
    for (const row of rows) {
      tries.set(row.id, (tries.get(row.id) ?? 0) + 1);
      // Its receipt is told at once, and this one is to be among those that are told of.
      sending.done += 1;
      const sent = await sendOne(row);
      if (!sent) sending.done -= 1;
      good &&= sent;
      failed = sent ? 0 : failed + 1;
      // A server that takes nothing is left alone for a while; the next round begins with the others.
      if (failed === 5) return false;
    }
    return good;
  } finally {
    sending.of = 0;
  }
}

// ---------------------------------------------------------------- keeping up

let settled = '';
let listed = -LIST_AGAIN;

async function keepUp({ epoch, backed_up: backedUp, now }) {
  if (settled !== epoch + backedUp) {
    await settleWith({ epoch, backed_up: backedUp, now });
    settled = epoch + backedUp;
  }
  if (performance.now() - listed > LIST_AGAIN) {
    const { answer } = await json('/offline/list', SEND_LIMIT);
    if (Array.isArray(answer?.members)) await note('list', { members: answer.members, units: answer.units, seal_key: answer.seal_key });
    listed = performance.now();
  }
}

// The pictures that records name go after them. Most tablets have none, and need no script for it.
async function sendPictures() {
  if (await ask('readonly', ({ photos }) => photos.count())) await (await import('./photos.js')).sendPhotos();
}

let [failures, timer, running] = [0, null, null];

async function round(now) {
  clearTimeout(timer);
  try {
    if (!await reach()) throw new Error('not reached');
    await keepUp(station.head).catch(() => {});
    if (!await alone(() => sendAll(now).finally(() => sendPictures().catch(() => {})))) throw new Error('not all taken');
    failures = 0;
  } catch {
    failures += 1;
  }
  // Full jitter, so that a hundred tablets do not come back in the same second.
  const wait = failures ? Math.random() * Math.min(LONGEST, 1000 * 2 ** failures) : WELL * (0.75 + Math.random() / 2);
  timer = setTimeout(sync, wait);
}

/** Looks for the station and sends what there is; `now` also what was refused before. */
export function sync(now = false) {
  running ??= round(now === true).finally(() => { running = null; });
  return running;
}

/** From now on by itself. */
export function keepInTouch() {
  sync();
  addEventListener('online', sync);
  addEventListener('offline', sync);
  addEventListener('pageshow', ({ persisted }) => { if (persisted) sync(); });
  document.addEventListener('visibilitychange', () => { if (!document.hidden) sync(); });
}

/** How long the oldest record has waited, in milliseconds by this tablet's own clock. */
export const waiting = async () => Math.max(0, ...(await all()).filter((r) => r.state === 'saved').map((r) => Date.now() - r.at));
