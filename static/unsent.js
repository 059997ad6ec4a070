// The page of what this tablet wrote: each record with its state and what to do about it.
import './base.js';
import { clock } from './clock.js';
import { drafts } from './draft.js';
import { list } from './list.js';
import { STATES, all, fileOf, onChange, signed, unsent } from './outbox.js';
import { photosHere } from './photos.js';
import { storeTrouble } from './store.js';
import { sending, station, sync } from './sync.js';

// Received ones are kept until a backup covers them; nobody reads them all.
const SHOWN = 30;
const at = (name) => document.querySelector(`[data-${name}]`);
const make = (tag, className, text) => Object.assign(document.createElement(tag), { className, textContent: text });

const OUTCOME = { photo: 'Photo,', used: 'After use,', accepted: 'Rig reviewed,', complete: 'Check', broken_off: 'Finding in a check', stopped: 'Stopped check' };
const TO_DO = {
  saved: () => 'It is sent by itself when the station can be reached.',
  received: () => '',
  attention: ({ say }) => `The station has it and cannot judge it: ${say}. Tell your officer.`,
  refused: ({ say }) => `The station does not take it: ${say}. It stays here. Save it to a file and give it to whoever looks after the server.`,
};

function line(row) {
  const item = make('li', 'seat');
  item.dataset.state = row.state;
  const where = make('div', 'where');
  where.append(make('b', '', row.unit ? `Unit ${row.unit}` : row.name ?? 'A record'), make('span', 'soft', `${OUTCOME[row.outcome] ?? ''} ${row.at ? clock(row.at) : ''}`.trim()));
  const state = make('div');
  state.append(make('b', '', STATES[row.state]), make('p', '', TO_DO[row.state](row)));
  item.append(where, state);
  return item;
}

function draftLine(draft) {
  const [unit] = draft.key.split('/');
  const item = make('li', 'seat');
  const where = make('div', 'where');
  where.append(make('b', '', `Unit ${unit}`), make('span', 'soft', clock(draft.at)));
  item.append(where, make('div', '', 'Draft: not handed in'), Object.assign(make('a', 'do', 'Go on'), { href: `/units/${unit}/check` }));
  return item;
}

async function show() {
  const rows = await all();
  const open = rows.filter(({ state }) => state !== 'received');
  const received = rows.filter(({ state }) => state === 'received').slice(-SHOWN).reverse();
  at('list').closest('section').hidden = !rows.length;
  document.getElementById('send-now').classList.toggle('next', open.length > 0);
  at('list').replaceChildren(...[...open, ...received].map(line));
  const halfDone = await drafts();
  at('drafts').replaceChildren(...halfDone.map(draftLine));
  at('drafts').closest('section').hidden = !halfDone.length;
  const waiting = rows.filter(({ state }) => state === 'saved').length;
  const said = sending.of > 1 ? `${sending.done} of ${sending.of} sent.`
    : waiting ? `${waiting} saved here, not yet received.` : 'Everything written on this tablet has been received.';
  const pictures = await photosHere();
  at('photos').textContent = pictures ? `${pictures === 1 ? '1 picture is' : `${pictures} pictures are`} still here and ${pictures === 1 ? 'is' : 'are'} sent after the records.` : '';
  at('summary').textContent = rows.length ? said : 'Nothing has been written on this tablet yet.';
}

const trouble = (e) => { at('summary').textContent = storeTrouble(e); };

async function showStorage() {
  const { storage } = navigator;
  if (!storage?.persisted) {
    at('storage').textContent = 'Without a secure connection (https) this tablet keeps no pages, and the browser may throw away what it keeps.';
    return;
  }
  const kept = await storage.persisted() || await storage.persist();
  const { usage, quota } = await storage.estimate();
  const room = `${Math.round((usage / quota) * 100)} % of the room is used.`;
  at('storage').textContent = kept ? `The browser has promised to keep what is stored here. ${room}`
    : `The browser has not promised to keep what is stored here: it may throw it away when the tablet runs out of room. Install this program on the home screen, then open it there. ${room}`;
}

document.getElementById('send-now').addEventListener('click', async () => {
  at('said').textContent = 'Trying to reach the station.';
  // One that is under way may have begun before.
  await sync();
  await sync(true);
  const left = (await unsent()).length;
  at('said').textContent = station.reached ? (left ? `The station has been reached. ${left} are still here.` : 'The station has everything.')
    : 'The station cannot be reached. All of it stays here and is sent when it can.';
});

document.getElementById('save-file').addEventListener('click', async () => {
  const rows = await Promise.all((await unsent()).map((row) => signed(row).catch(() => row)));
  if (!rows.length) {
    at('said').textContent = 'Nothing here is unsent.';
    return;
  }
  const link = document.createElement('a');
  link.href = URL.createObjectURL(new Blob([fileOf(rows)], { type: 'application/json' }));
  link.download = `airmuster-${new Date().toISOString().slice(0, 16).replaceAll(':', '')}.json`;
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 60000);
  at('said').textContent = `${rows.length} saved to a file. They also stay here until the station has received them.`;
});

document.getElementById('elsewhere').addEventListener('submit', async (event) => {
  event.preventDefault();
  const number = event.target.elements.number.value.trim();
  const { units } = await list();
  const problem = document.getElementById('number-problem');
  problem.hidden = units.some((unit) => unit.number === number);
  problem.textContent = number ? `This tablet knows no unit ${number}.` : 'Give the number painted on the unit.';
  if (problem.hidden) location.href = `/units/${encodeURIComponent(number)}/check`;
});

onChange(() => show().catch(trouble));
show().catch(trouble);
showStorage().catch(() => {});
