// A rig's roster as this tablet keeps it, and the officer's signature under it, which waits here until
// the station has it. What the tablet found itself counts: the worse of its own word and the station's.
import { clock, made } from './clock.js';
import { standingOf, unknownTo } from './own.js';
import { all, onChange } from './outbox.js';
import { allRight, canLock, follow, newId, notSaved, saveSigned, signedBy } from './signing.js';
import { recall } from './store.js';

const data = JSON.parse(document.getElementById('about').textContent);
const form = document.getElementById('accept');
const rows = [...document.querySelectorAll('.seat[data-seat]')];
const of = (name) => document.querySelector(`[data-of=${name}]`);
const drawn = (name) => document.getElementById('standings').content.querySelector(`.is-${name}`).cloneNode(true);
const word = (row) => row.querySelector('input');
for (const { dataset } of rows) dataset.drawn = dataset.server;

let [shift, seats] = [0, []];

/** How a place stands now by all that is known here. */
function placeNow(row, own, now) {
  const { seat, unit, server, until, rest } = row.dataset;
  const past = server === 'in' && until && Number(until) <= now;
  const known = past ? 'due' : server;
  const found = own.get(unit);
  const standing = found ? standingOf(known, found) : known;
  // A cylinder by itself is never in service: nothing against it is the best that is said of it.
  const good = standing === (unit ? 'in' : 'nothing');
  return { seat, standing, ready: good && !rest, own: found };
}

async function show() {
  const records = await all();
  const own = unknownTo(made, records);
  const offset = (await recall('clock').catch(() => null))?.offset ?? 0;
  const now = Date.now() + offset;
  const nth = data.starts.findLastIndex((start) => start <= now);
  shift = nth < 0 || nth === data.starts.length - 1 ? undefined : data.starts[nth];
  // Who rides in a later shift is not known here.
  const crew = nth === 0;
  of('old').hidden = crew;
  of('old').textContent = shift === undefined
    ? 'This roster is too old to accept a rig by. Bring the tablet to where the station can be reached.'
    : 'Another shift has begun since this was kept: who rides now is not on it, and is not accepted with it.';
  seats = rows.map((row) => placeNow(row, own, now));
  for (const [n, row] of rows.entries()) {
    const { standing, ready, own: found } = seats[n];
    for (const name of [...row.classList]) if (name.startsWith('is-')) row.classList.remove(name);
    row.classList.add(`is-${standing || 'empty'}`);
    row.classList.toggle('open', !ready);
    if (standing !== row.dataset.drawn) row.querySelector('.standing').replaceWith(drawn(standing));
    row.dataset.drawn = standing;
    row.querySelector('[data-of=own]').textContent = found ? `${found.at(-1).words ? `${found.at(-1).words}. ` : ''}Written on this tablet ${clock(found.at(-1).at)}, not on the roster yet.` : '';
    word(row).closest('.field').hidden = ready || shift === undefined;
  }
  for (const row of rows) row.querySelector('[data-of=member]').hidden = !crew;
  of('count').textContent = `${seats.filter(({ ready }, n) => ready && !rows[n].dataset.kit).length} of ${rows.filter(({ dataset }) => !dataset.kit).length}`;
  form.hidden = shift === undefined;
  const waiting = records.findLast(({ rig, state }) => rig === data.rig && state !== 'received');
  of('waits').hidden = !waiting;
  of('waits').textContent = waiting ? `${waiting.words}, written ${clock(waiting.at)} on this tablet, not yet received.` : '';
}

let [busy, id] = [false, newId()];
form.addEventListener('submit', async (event) => {
  event.preventDefault();
  if (busy) return;
  await show();
  const words = rows.filter((row, n) => !seats[n].ready).map((row) => [word(row), word(row).value.trim() ? '' : 'Not ready: say in a word what you do about it.']);
  if (!allRight([...words, ...signedBy(form.elements)])) return;
  if (!await canLock()) {
    of('trouble').textContent = 'This tablet cannot lock up a PIN now. Accept the rig on its own page, where the station can be reached.';
    return;
  }
  busy = true;
  const crew = shift === data.starts[0];
  const places = data.places.map(({ member, ...place }, n) => ({
    ...place, ...(crew && member && { member }), ready: seats[n].ready,
    ...(!seats[n].ready && { word: word(rows[n]).value.trim() }),
  }));
  const name = form.elements.member.selectedOptions[0].textContent;
  const record = {
    id, kind: 'rig_accepted', body: { rig: data.rig, shift, places },
    more: () => ({ rig: data.rig, name: data.name, outcome: 'accepted', words: `Reviewed by ${name}` }),
  };
  try {
    await saveSigned([record], form.elements, data);
    id = newId();
    of('done').hidden = false;
    of('done').focus();
    await follow(of('done'), [record.id]);
  } catch (e) {
    of('trouble').textContent = notSaved(e);
  } finally {
    busy = false;
    await show();
  }
});

onChange(() => show().catch(() => {}));
await show();
form.dataset.ready = '';
