// On every page: gloves, how old the page is, whether the station can be reached, and how much
// this tablet has that the station does not.
import { choose, chosen } from './choices.js';
import { clock, made } from './clock.js';
import { isTablet } from './key.js';
import { counts, onChange } from './outbox.js';
import { keepInTouch, onStation, sending, station, waiting } from './sync.js';

const root = document.documentElement;
const main = document.getElementById('main');
const DAY = 24 * 3600 * 1000;
const CLOCK_APART = 120000;

// ---------------------------------------------------------------- gloves

// Larger controls for gloves, switched without losing what stands on the page.
const KEY = 'gloves';
const button = document.querySelector('button[name=gloves]');

function wear(on) {
  root.classList.toggle('gloves', on);
  if (!button) return;
  button.value = on ? 'off' : 'on';
  button.textContent = on ? 'Gloves off' : 'Gloves on';
}

const kept = chosen(KEY);
if (kept) wear(kept === 'on');

button?.form.addEventListener('submit', (event) => {
  event.preventDefault();
  const { value } = button;
  wear(value === 'on');
  choose(KEY, value);
  // The server draws the next page accordingly; without it this tablet remembers.
  const signal = AbortSignal.timeout(5000);
  fetch(button.form.action, { method: 'POST', body: new URLSearchParams({ gloves: value }), signal }).catch(() => {});
});

document.getElementById('problems')?.focus();

// ---------------------------------------------------------------- what is said at the top

/** Says something at the top of the page, once per `id`, which nothing else on any page may have; nothing takes it back. */
export function notice(id, text, link) {
  let line = document.getElementById(id);
  if (!text) return void line?.remove();
  if (!line) {
    line = Object.assign(document.createElement('p'), { id, className: 'attention' });
    line.setAttribute('role', 'status');
    line.append(document.createElement('span'));
    main.prepend(line);
  }
  if (line.firstChild.textContent !== text) line.firstChild.textContent = text;
  line.querySelector('a')?.remove();
  if (link) line.append(Object.assign(document.createElement('a'), link));
}

/** Whether the worker answered for the server: the page is one that this tablet has kept. */
export const fromTablet = document.querySelector('meta[name=kept]') !== null;

function sayStation() {
  const away = station.reached === false;
  const words = [];
  if (fromTablet || away) words.push(`As of ${clock(made)}.`);
  if (away) words.push('The station cannot be reached.');
  else if (fromTablet && station.reached) words.push('The station can be reached again.');
  notice('out-of-reach', words.join(' '), fromTablet && station.reached ? { href: location.href, textContent: 'Show it as it is now' } : null);
  const apart = Math.abs(station.offset ?? 0);
  const minutes = Math.round(apart / 60000);
  const long = minutes < 120 ? `${minutes} minutes` : minutes < 2880 ? `${Math.round(minutes / 60)} hours` : `${Math.round(minutes / 1440)} days`;
  notice('clock-apart', apart > CLOCK_APART ? `The clock of this tablet is ${long} ${station.offset > 0 ? 'behind' : 'ahead of'} the station’s. Check the tablet’s date and time.` : '');
}

// ---------------------------------------------------------------- how much is not yet received

const mark = document.getElementById('unsent');

async function countUnsent() {
  const of = await counts().catch(() => null);
  if (!of || !mark) return;
  const words = [];
  if (sending.of > 1) words.push(`${sending.done} of ${sending.of} sent`);
  else if (of.saved) words.push(`${of.saved} saved here, not yet received`);
  if (of.refused + of.attention) words.push(`${of.refused + of.attention} need${of.refused + of.attention === 1 ? 's' : ''} attention`);
  mark.hidden = !words.length;
  mark.dataset.counted = '';
  if (mark.textContent !== words.join(', ')) mark.textContent = words.join(', ');
  const old = of.saved ? await waiting() : 0;
  notice('unsent-old', old > DAY ? 'This tablet has kept records for more than a day. Bring it to where the station can be reached, or save them to a file.' : '', { href: '/unsent', textContent: 'Look' });
}

async function lookAtRoom() {
  const { usage, quota } = await navigator.storage?.estimate?.() ?? {};
  notice('room', usage > quota * 0.8 ? 'The storage of this tablet is almost full. Remove other things from it, or checks may not be kept.' : '');
}

// Many records may be answered in a row; the page need not say each number.
let drawing = false;
function draw() {
  if (drawing) return;
  drawing = true;
  requestAnimationFrame(async () => {
    drawing = false;
    await countUnsent();
    // A form shows no standing; it is heavy enough without this.
    if (document.querySelector('body.board') || /^\/units\/[^/]+$/.test(location.pathname)) {
      await import('./own.js').then(({ showOwn }) => showOwn(made)).catch(() => {});
    }
  });
}

// ---------------------------------------------------------------- which tablet this is

// A page fresh from the server says so; one that was kept may be from before.
async function knowOneself() {
  const { content: id, dataset } = document.querySelector('meta[name=tablet]') ?? {};
  if (!id || fromTablet) return;
  if (!await isTablet({ id, point: dataset.key })) {
    notice('keyless', 'This tablet has lost its key. What is written on it raises, and nothing good follows from it: have it enrolled again.', { href: '/enrol', textContent: 'Enrol' });
  }
}

// ---------------------------------------------------------------- the worker that keeps the pages

async function useWorker() {
  const { serviceWorker } = navigator;
  if (!serviceWorker) return;
  // A new program waits while a check is half done.
  serviceWorker.addEventListener('message', ({ data, ports }) => {
    if (data === 'half done?') ports[0].postMessage(document.querySelector('form.check[data-begun]') !== null);
  });
  serviceWorker.startMessages();
  // A browser can lose the page that is asked for in the moment in which one worker follows another.
  let asked;
  globalThis.navigation?.addEventListener('navigate', ({ destination, formData, timeStamp }) => {
    if (!destination.sameDocument && !formData) asked = { url: destination.url, timeStamp };
  });
  serviceWorker.addEventListener('controllerchange', ({ timeStamp }) => {
    if (timeStamp - asked?.timeStamp < 5000) location.assign(asked.url);
  });
  const registration = await serviceWorker.register('/sw.js', { updateViaCache: 'none' });
  let first = true;
  const refresh = async () => {
    if (!station.reached) return;
    registration.waiting?.postMessage({ takeOver: true });
    (await serviceWorker.ready).active.postMessage({ refresh: station.head.seq, loaded: first });
    first = false;
  };
  onStation(refresh);
  refresh();
}

// A form that is signed may arrive although its answer does not: what is written here later
// must then not have the same name.
document.addEventListener('submit', ({ target }) => {
  if (/\/check\/sign$/.test(target.action)) choose('tried', target.elements.namedItem('id')?.value ?? '');
});

// What takes the server a while says that it is at work.
document.addEventListener('submit', ({ target, submitter }) => {
  if (!target.dataset.long || submitter?.hasAttribute('formaction')) return;
  notice('at-work', target.dataset.long);
  document.getElementById('at-work').prepend(Object.assign(document.createElement('progress'), { ariaLabel: 'At work' }));
  scrollTo(0, 0);
});
// Gone back to, it is at work no longer.
addEventListener('pageshow', () => notice('at-work', ''));

onStation(sayStation);
onChange(draw);
sayStation();
draw();
knowOneself().catch(() => {}).finally(keepInTouch);
useWorker().catch(() => {});
// An own board on the wall is asked for once; the browser decides by itself.
navigator.storage?.persist?.().then(lookAtRoom, () => {});
