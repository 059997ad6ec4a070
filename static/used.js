// After use with no network: the same form, saved on this tablet. With the station in reach it is handed
// in there.
import { fromTablet } from './base.js';
import { allRight, follow, newId, notSaved, saveSigned, signedBy } from './signing.js';
import { reach } from './sync.js';

const form = document.querySelector('form.used');
const data = JSON.parse(document.getElementById('about').textContent);
const field = (name) => form.elements.namedItem(name);
const NUMBER = /^[A-Za-z0-9.-]{1,32}$/;
const WORST = { clean: 'due', soiled: 'put-right', contaminated: 'out' };

// A page that was kept is used more than once; each use is a record of its own.
if (fromTablet) field('id').value = newId();
const ids = new Map();
const idOf = (unit) => ids.get(unit) ?? ids.set(unit, newId()).get(unit);

const numbers = (unit) => field(`c.${unit}`).value.split(/[\s,;]+/).filter(Boolean);
const ticked = () => data.units.filter(({ unit }) => field(`u.${unit}`).checked);

function isComplete() {
  const used = ticked();
  const units = document.getElementById('units');
  return allRight([
    [field('occasion'), field('occasion').value ? '' : 'Choose what it was.'],
    [field('what'), field('what').value.trim() ? '' : 'Say which one: its number, or where.'],
    [units, used.length ? '' : 'Tick what was used.'],
    ...used.flatMap(({ unit }) => [
      [field(`s.${unit}`), field(`s.${unit}`).value ? '' : `Say in what state unit ${unit} came back.`],
      [field(`c.${unit}`), numbers(unit).every((n) => NUMBER.test(n)) && numbers(unit).length <= 20 ? '' : 'Write the numbers painted on them, with commas between.'],
    ]),
    ...signedBy(form.elements),
  ]);
}

function recordOf({ unit, out }) {
  const condition = field(`s.${unit}`).value;
  const [wearer, cylinders] = [field(`w.${unit}`).value, numbers(unit)];
  const body = {
    unit, what: field('what').value.trim(), condition, occasion: field('occasion').value,
    ...(wearer && { wearer }), ...(cylinders.length && { cylinders }), ...(out && { while_out: true }),
    after_use: true,
  };
  const more = (digest) => ({
    unit, outcome: 'used', verdict: out ? 'out' : WORST[condition], sole: false,
    words: `Used${out ? ' while out of service' : ''}, came back ${condition}`,
    raises: [`used/${digest}`, ...(condition === 'clean' ? [] : [`${condition}/${digest}`])],
  });
  return { id: idOf(unit), kind: 'used', body, more };
}

let busy = false;
async function saveHere() {
  if (busy || !isComplete()) return;
  busy = true;
  const records = ticked().map(recordOf);
  const trouble = document.getElementById('trouble');
  try {
    await saveSigned(records, form.elements, data);
  } catch (e) {
    trouble.textContent = notSaved(e);
    return;
  } finally {
    busy = false;
  }
  const done = document.getElementById('saved');
  done.querySelector('[data-of=units]').textContent = records.map(({ body }) => body.unit).join(', ');
  const go = done.querySelector('[data-of=checks]');
  for (const { body: { unit } } of records) {
    const href = `/units/${encodeURIComponent(unit)}/check?purpose=after-use`;
    go.append(Object.assign(document.createElement('a'), { className: 'do', href, textContent: `After-use check of ${unit}` }));
  }
  for (const part of [form, ...document.querySelectorAll('main > .lead')]) part.hidden = true;
  done.hidden = false;
  done.querySelector('h2').focus();
  await follow(done.querySelector('[role=status]'), records.map(({ id }) => id));
}

let through = false;
form.addEventListener('submit', async (event) => {
  if (through) return;
  event.preventDefault();
  if (!await reach()) return void saveHere();
  through = true;
  form.requestSubmit(event.submitter);
});
form.dataset.ready = '';
