// What this tablet found and the page does not know yet, shown where it concerns: the worse of
// the server's last word and the tablet's own; better only where nothing but a check was due.
import { WORST_FIRST, ownVerdict, worse } from './after.js';
import { clock } from './clock.js';
import { all } from './outbox.js';
import { isKnown, saysUsed } from './use.js';

/** How to show a unit that the server last called `server`. */
export function standingOf(server, rows) {
  const own = ownVerdict(rows);
  const sole = rows.findLast(({ outcome }) => outcome === 'complete')?.sole;
  return server === 'due' && own === 'in' && sole ? 'in' : worse(server, own);
}

/** By unit, what this tablet wrote that a page made at the server at `made` cannot know. */
export function unknownTo(made, rows) {
  const of = new Map();
  for (const row of rows) {
    if (!isKnown(row, made) && row.unit && row.verdict) of.set(row.unit, [...of.get(row.unit) ?? [], row]);
  }
  return of;
}

const classOf = (element) => WORST_FIRST.find((name) => element.classList.contains(`is-${name}`));
const drawn = (name) => document.getElementById('standings')?.content.querySelector(`.is-${name}`)?.cloneNode(true);

function reclass(element, from, to) {
  element.classList.remove(`is-${from}`, 'soon');
  element.classList.add(`is-${to}`);
}

/** What its cylinder held before it was used is not what it holds now, whatever was found since. */
export function hideReading(where, rows) {
  const gauge = where.querySelector('.gauge');
  if (gauge) gauge.style.visibility = rows.some(saysUsed) ? 'hidden' : '';
}

const saying = (rows) => {
  const { at, state } = rows.at(-1);
  const time = clock(at);
  return state === 'saved' ? `Saved here ${time}, not yet received.`
    : state === 'received' ? `Received, written ${time} on this tablet.`
      : `Written ${time} on this tablet. Needs attention.`;
};

function showLine(line, rows) {
  // What the server said last; the line itself is drawn over.
  line.dataset.server ??= classOf(line) ?? '';
  const server = line.dataset.server;
  if (!server) return;
  const now = standingOf(server, rows);
  hideReading(line, rows);
  reclass(line, classOf(line), now);
  line.querySelector('.state .standing')?.replaceWith(drawn(now));
  let own = line.querySelector('[data-own]');
  if (!own) {
    own = line.querySelector('.reason') ?? line.querySelector('.state').appendChild(document.createElement('span'));
    own.dataset.own = own.textContent;
  }
  const { outcome, words } = rows.at(-1);
  own.textContent = `${own.dataset.own} ${outcome === 'used' ? `${words}. ` : ''}${saying(rows)}`.trim();
}

// A unit's own page must not say better in large than in small.
function showStand(stand, rows) {
  if (!stand) return;
  stand.dataset.server ??= classOf(stand) ?? '';
  if (!stand.dataset.server) return;
  hideReading(stand, rows);
  const now = standingOf(stand.dataset.server, rows);
  if (now === classOf(stand)) return;
  reclass(stand, classOf(stand), now);
  stand.querySelector('.standing')?.replaceWith(drawn(now));
}

function tally(rig) {
  const lines = [...rig.querySelectorAll('.line')];
  const marks = [...rig.querySelectorAll('.tally .row > span')];
  marks.forEach((mark, i) => {
    const [from, to] = [classOf(mark), lines[i] && classOf(lines[i])];
    if (!from || !to || from === to) return;
    reclass(mark, from, to);
    mark.replaceChildren(drawn(to).querySelector('svg'));
  });
  // A seat lacks more than its unit: a full cylinder, a member whom the facepiece fits.
  const ready = marks.filter((mark, i) => classOf(mark) === 'in' && !lines[i]?.dataset.rest).length;
  const words = rig.querySelector('.tally b');
  if (marks.length && words) words.textContent = `${ready} of ${marks.length}`;
  const line = rig.querySelector('.tally');
  line?.classList.toggle('short', ready < marks.length && !line.dataset.aside);
}

// A rig that was reviewed here: said until the station has it.
function showReviewed(rig, row) {
  rig.querySelector('[data-reviewed]')?.remove();
  if (!row || row.state === 'received') return;
  const line = Object.assign(document.createElement('p'), { className: 'fact', textContent: `${row.words}. ${saying([row])}` });
  line.dataset.reviewed = '';
  rig.querySelector('header').after(line);
}

/** Draws it over the page, which the server made at `made`. */
export async function showOwn(made) {
  const unit = /^\/units\/([^/]+)$/.exec(location.pathname)?.[1];
  const board = document.querySelector('body.board');
  if (!unit && !board) return;
  const of = unknownTo(made, await all());
  if (unit) {
    const rows = of.get(decodeURIComponent(unit));
    const place = document.querySelector('.subject') ?? document.querySelector('h1');
    let line = document.getElementById('own');
    if (!rows) return void line?.remove();
    line ??= place.appendChild(Object.assign(document.createElement('p'), { id: 'own', className: 'open-ground' }));
    const { words } = rows.at(-1);
    line.replaceChildren(drawn(ownVerdict(rows)), ` ${words ? `${words}. ` : ''}${saying(rows)}`);
    showStand(document.querySelector('section.stand'), rows);
    return;
  }
  for (const line of board.querySelectorAll('.line')) {
    const [, number] = /^\/units\/([^/]+)$/.exec(line.querySelector('.where a')?.getAttribute('href') ?? '') ?? [];
    const rows = number && of.get(decodeURIComponent(number));
    if (rows) showLine(line, rows);
  }
  board.querySelectorAll('.rig').forEach(tally);
  const records = await all();
  for (const rig of board.querySelectorAll('.rig[data-rig]')) showReviewed(rig, records.findLast((row) => row.rig === rig.dataset.rig));
}
