// The check form, helped along: verdicts while one types, timers, and everything kept on this
// tablet. The form works without any of it; the server judges.
import {
  STATE_WORDS, answersIn, checkBody, failing, fieldName, misnamed, raisedBy, stepView, strip, worstState,
} from './answers.js';
import { fromTablet } from './base.js';
import { attachBay } from './bay.js';
import { choose, chosen } from './choices.js';
import { clock, made } from './clock.js';
import { drop, load, save } from './draft.js';
import { judge } from './judge.js';
import { enrolledAs } from './key.js';
import { list } from './list.js';
import { all, newId, onChange, recordText, write } from './outbox.js';
import { recall, note, storeTrouble } from './store.js';
import { reach, sendOne, station, sync } from './sync.js';
import { attach } from './timer.js';
import { AFTER_USE, isKnown, stateOf, wasUsed } from './use.js';

// How long a number may look wrong while it is being typed.
const TYPING = 600;
// A slip of a glove can be taken back for so long; then what it says is written down.
const SECOND_THOUGHT = 3000;
// A draft that nobody touched for so long is not gone on with unasked.
const STALE = 2 * 3600 * 1000;

const form = document.querySelector('form.check');
const data = JSON.parse(document.getElementById('limits').textContent);
// A form for a kind of unit, kept for one that moved in: which one, only the address says.
const blank = data.unit === '0';
if (blank) {
  const { pathname } = location;
  const [, place, number] = pathname.split('/');
  if (place === 'units') {
    data.unit = decodeURIComponent(number);
    form.action = pathname;
    document.querySelector('.subject h1').textContent = `Unit ${data.unit}`;
  }
}
// What is asked of a repair alone is not the whole of it half done.
const key = [data.unit, data.purpose, data.repaired].filter(Boolean).join('/');
const progress = document.getElementById('progress');
const steps = data.limits.steps
  .map((limits) => ({ limits, card: form.querySelector(`article[data-step="${limits.id}"]`) }))
  .filter(({ card }) => card)
  .map((step) => ({ ...step, tries: [...step.card.querySelectorAll('fieldset[data-attempt]')], state: 'missing', findings: [] }));
const bay = attachBay(form, data, () => stepOf(bay.at) && showStep(stepOf(bay.at), answersIn(data, fields())));
const stepOf = (element) => steps.find(({ card }) => card.contains(element));

const element = (tag, attributes, text) => {
  const made = Object.assign(document.createElement(tag), attributes);
  if (text) made.textContent = text;
  return made;
};
const say = (where, text) => { if (where && where.textContent !== text) where.textContent = text; };

// ---------------------------------------------------------------- what is entered

const fields = () => new Map([...new FormData(form)].filter(([name]) => name.startsWith('a.')));

function fill(name, value) {
  for (const field of form.querySelectorAll(`[name="${name}"]`)) {
    if (['radio', 'checkbox'].includes(field.type)) field.checked = field.value === value;
    else field.value = value;
  }
}

const entered = (map) => [...map].filter(([name, value]) => value.trim() && !name.endsWith('_unit'));

// ---------------------------------------------------------------- what is shown

// What cannot be read is said with the name of its field.
function labelled(set, { words, problem }) {
  const label = problem && set.querySelector(`label[for$=".${problem}"]`);
  return label ? `${label.textContent}: ${words.charAt(0).toLowerCase()}${words.slice(1)}` : words;
}

// What failed can be photographed. The camera is fetched when the first step has failed.
async function offerCamera(step) {
  if (step.camera) return;
  step.camera = true;
  try {
    const { camera } = await import('./camera.js');
    const title = step.card.querySelector('h3').textContent;
    const named = async (photo) => {
      const body = { asset: `unit:${data.unit}`, photo, run: draft.run, step: step.limits.id, what: title };
      const record = { kind: 'photo', id: newId(), tablet: await tablet, at: Date.now(), client: data.client, body };
      await write(record, { more: () => ({ unit: data.unit, outcome: 'photo' }) });
      sync();
    };
    camera(step.card, title, named, storeTrouble);
  } catch {
    step.camera = false;
  }
}

function showStep(step, answers, typing) {
  const view = stepView(data.limits, step.limits, answers);
  const failed = view.findings.length > 0;
  Object.assign(step, { state: view.state, findings: view.findings });
  step.card.dataset.state = view.state;
  step.card.toggleAttribute('data-failed', failed);
  if (failed) offerCamera(step);
  for (const set of step.tries) {
    const of = view.tries.find((t) => t.try === Number(set.dataset.attempt)) ?? { state: 'missing', words: '' };
    const output = set.querySelector('output.verdict');
    // Half a number is not wrong yet, and half an answer is not asked for while it is being given.
    const quiet = set === typing && (of.problem || ['out', 'put-right'].includes(of.state));
    output.className = `verdict is-${quiet ? 'missing' : of.state}`;
    say(output, quiet ? '' : labelled(set, of));
    const again = set.closest('details.again');
    if (again && failed) again.open = true;
  }
  drawStrip(step);
  showWritten(step);
  if (bay?.at === step.card) bay.show(answers.filter((a) => a.step === step.limits.id).at(-1)?.values.at);
}

function showAll() {
  const answers = answersIn(data, fields());
  for (const step of steps) showStep(step, answers);
  showSummary();
}

function showSummary() {
  const answered = steps.filter((s) => s.state !== 'missing').length;
  const findings = steps.filter((s) => ['out', 'put-right', 'remark'].includes(s.state)).length;
  say(next, `${answered} of ${steps.length} done`);
  say(progress.querySelector('[data-progress=findings]'), { 0: 'no findings', 1: '1 finding' }[findings] ?? `${findings} findings`);
  for (const link of form.querySelectorAll('.rail a[data-group]')) {
    const group = document.getElementById(`g-${link.dataset.group}`);
    const state = worstState(steps.filter(({ card }) => group.contains(card)).map((s) => s.state));
    link.dataset.state = state;
    say(link.querySelector('[data-group-word]'), `: ${STATE_WORDS[state]}`);
  }
}

// A reading in the profile's unit, near enough for a drawing.
function drawn(step, field) {
  const last = [...step.tries].reverse().find((set) => set.querySelector(`[name$=".${field}"]`)?.value.trim());
  const name = fieldName(step.limits.id, last?.dataset.attempt ?? 1, field);
  const value = form.elements[name]?.value.trim();
  const from = form.elements[`${name}_unit`]?.value;
  if (!value) return null;
  return Number(value) * Number(data.limits.grains[from]) / Number(data.limits.grains[data.limits.unit]);
}

function drawStrip({ limits, card, tries }) {
  const svg = card.querySelector('svg[data-strip]');
  if (!svg) return;
  const { rated, ratedAt, limit } = svg.dataset;
  const step = { limits, tries };
  const pair = limits.kind === 'pair';
  const [reading, other] = pair ? [drawn(step, 'cylinder'), drawn(step, 'remote')] : [drawn(step, 'at'), null];
  const at = strip({ rated: Number(rated), ratedAt: Number(ratedAt), limit: pair ? Number(limit ?? 0) : 0 }, reading, other);
  const part = (name) => svg.querySelector(`[data-part=${name}]`);
  const visible = (what, is) => (is ? what.removeAttribute('visibility') : what.setAttribute('visibility', 'hidden'));
  part('fill').setAttribute('width', `${at.fill ?? 0}%`);
  visible(part('room'), at.room);
  visible(part('line'), at.line !== null);
  if (at.room) {
    part('room').setAttribute('x', `${at.room.from}%`);
    part('room').setAttribute('width', `${at.room.width}%`);
  }
  for (const line of part('line').querySelectorAll('line')) {
    for (const x of ['x1', 'x2']) line.setAttribute(x, `${at.line ?? 0}%`);
  }
  svg.classList.toggle('apart', pair && card.dataset.state === 'out' && at.line !== null);
  const words = [[reading, ''], [other, 'other gauge ']].filter(([v]) => v !== null && Number.isFinite(v))
    .map(([v, name]) => name + Math.round(v).toLocaleString('en'));
  svg.setAttribute('aria-label', words.length ? `${words.join(', ')} of ${data.limits.rated.words}` : `No reading; rated ${data.limits.rated.words}`);
}

function showWritten({ card, findings }) {
  const written = failing(findings).map((name) => draft.written[name]).filter(Boolean);
  let line = card.querySelector('[data-sent]');
  if (!written.length) return void line?.remove();
  if (!line) {
    line = element('p', { className: 'soft' });
    line.dataset.sent = '';
    card.querySelector('fieldset').after(line);
  }
  const waiting = written.find((w) => !w.received);
  say(line, waiting ? 'Written down. Saved on this tablet, not yet received.' : `Written down and received${written[0].at ? `, ${clock(written[0].at)}` : ''}.`);
}

// ---------------------------------------------------------------- keeping and writing down

// A page kept on this tablet may be opened many times, and each time another check is begun.
if (fromTablet) {
  form.elements.id.value = newId();
  form.elements.started.value = Date.now();
}
// Records written here carry this tablet's clock throughout; the form sent to the server the server's.
let draft = {
  key, run: form.elements.id.value, started: Number(form.elements.started.value), shown: Date.now(),
  seen: data.seen, rules: data.rules, written: {},
};
let keeping = Promise.resolve();

function sayUnkept(why) {
  const text = `${why} The answers stay on this page: do not close or reload it before the check is handed in.`;
  const line = document.getElementById('unkept') ?? element('p', { className: 'attention', id: 'unkept' });
  line.setAttribute('role', 'status');
  say(line, text);
  form.before(line);
}

// One write after the other; what is kept is what stood on the page when its turn came. Answers
// whether it is kept.
function keep() {
  keeping = keeping.then(async () => {
    if (draft.done) return true;
    const now = fields();
    form.toggleAttribute('data-begun', entered(now).length > 0);
    if (!entered(now).length && !draft.at) return true;
    draft = { ...draft, at: Date.now(), fields: [...now] };
    await save(draft);
    document.getElementById('unkept')?.remove();
    return true;
  }).catch((e) => {
    sayUnkept(storeTrouble(e));
    return false;
  });
  return keeping;
}
addEventListener('storefree', keep);

const unwritten = () => steps.flatMap((s) => failing(s.findings)).filter((name) => !draft.written[name]);

let thinking = null;
function thinkAgain(step) {
  if (thinking && thinking.step !== step) writeDown();
  clearTimeout(thinking?.timer);
  thinking = unwritten().length ? { step, timer: setTimeout(writeDown, SECOND_THOUGHT) } : null;
}

// The tablet's name: as the server gives it with a page of its own, and remembered for those kept here.
const tablet = (async () => {
  const known = fromTablet ? await enrolledAs() ?? await recall('tablet').catch(() => null) : null;
  if (!fromTablet) await note('tablet', data.tablet).catch(() => {});
  return known ?? data.tablet;
})();

async function recordOf(outcome, { id = newId(), by, written_by, run = draft.run } = {}) {
  const body = checkBody({ ...data, warmth: bay?.text(), run, started: draft.shown, seen: draft.seen }, fields(), outcome);
  return { id, tablet: await tablet, at: Date.now(), client: data.client, by, written_by, body };
}

// What this tablet remembers of a record beside its bytes: enough to show the unit by.
const about = (record, judged) => (digest) => ({
  unit: data.unit, outcome: record.body.outcome, purpose: data.purpose, sole: data.seen.length === 0 && !data.countersigned && !blank,
  verdict: record.body.outcome === 'stopped' ? 'due' : stateOf(judged.verdict),
  raises: record.body.outcome === 'stopped' ? [`check-again/${digest}`] : raisedBy(judged.findings, digest),
  words: judged.findings.filter((f) => !f.settled && f.consequence !== 'remark').map((f) => f.title).join(', '),
});

// An answer that takes something out of service stands from now on, whatever becomes of the check.
async function writeDown() {
  clearTimeout(thinking?.timer);
  thinking = null;
  const names = unwritten();
  if (!names.length || draft.done) return;
  const record = await recordOf('broken_off');
  if (!unwritten().length) return;
  for (const name of names) draft.written[name] = { id: record.id, at: record.at, received: false };
  draft = { ...draft, at: Date.now(), fields: [...fields()] };
  try {
    const judged = judge(data.limits, record.body.answers);
    await write(record, { draft, more: about(record, { ...judged, verdict: 'out_of_service' }) });
  } catch (e) {
    sayUnkept(storeTrouble(e));
    inHand.push({ id: record.id, text: recordText(record) });
  }
  steps.forEach(showWritten);
  sync();
  sendInHand();
}

// Records that this browser could not keep: sent from here, for as long as the page is open.
const inHand = [];
let retry = null;
async function sendInHand() {
  clearTimeout(retry);
  for (const row of [...inHand]) {
    if (!await sendOne(row).catch(() => false)) continue;
    inHand.splice(inHand.indexOf(row), 1);
    showReceived([row.id]);
  }
  if (inHand.length) retry = setTimeout(sendInHand, 5000);
}

function showReceived(ids) {
  const written = Object.values(draft.written).filter((w) => !w.received && ids.includes(w.id));
  for (const w of written) w.received = true;
  if (written.length) keep();
  steps.forEach(showWritten);
}
onChange(showReceived);

// ---------------------------------------------------------------- a draft from before

function takeUp(kept) {
  draft = { ...draft, ...kept, seen: [...new Set([...kept.seen, ...draft.seen])], rules: data.rules };
  for (const name of ['id', 'started']) form.elements[name].value = { id: draft.run, started: draft.started }[name];
  for (const old of form.querySelectorAll('[name=seen]')) old.remove();
  for (const value of draft.seen) form.prepend(element('input', { type: 'hidden', name: 'seen', value }));
  for (const name of fields().keys()) if (!name.endsWith('_unit')) fill(name, '');
  for (const [name, value] of kept.fields) fill(name, value);
  for (const note of form.querySelectorAll('textarea')) if (note.value) note.closest('details').open = true;
  showAll();
  thinkAgain(null);
}

function offer(kept) {
  const count = new Set(entered(new Map(kept.fields)).map(([name]) => name.split('.')[1])).size;
  const words = `${count} ${count === 1 ? 'step' : 'steps'} kept on this tablet from ${clock(kept.at)}.`;
  const notice = element('p', { className: 'attention', id: 'kept' }, words);
  notice.setAttribute('role', 'status');
  const act = (text, then) => {
    const button = element('button', { type: 'button', className: 'do' }, text);
    button.addEventListener('click', async () => { await then(); notice.remove(); });
    notice.append(button);
  };
  if (Date.now() - kept.at < STALE && kept.rules === data.rules) takeUp(kept);
  else act('Go on with it', () => takeUp(kept));
  act('Start again', async () => {
    await keeping;
    await drop(key);
    location.reload();
  });
  form.before(notice);
}

// A use that this tablet has written down asks for another form than the one that the page knows of.
async function isOther() {
  const { pathname, searchParams: asked } = new URL(location);
  // What was entered before a call says nothing of what the use has done.
  const goesOn = asked.has('continues');
  asked.delete('continues');
  if (asked.size || AFTER_USE.includes(data.purpose) || (entered(fields()).length && !goesOn)) return false;
  const rows = (await all().catch(() => [])).filter((row) => row.unit === data.unit && !isKnown(row, made));
  if (!wasUsed(rows)) return false;
  location.replace(`${pathname}?purpose=after-use`);
  return true;
}

// What this tablet found at the unit before, and the page may not know.
async function lookBack() {
  const rows = (await all().catch(() => [])).filter((row) => row.unit === data.unit && row.verdict);
  const known = rows.slice(-20).flatMap((row) => row.raises ?? []).filter((ground) => !draft.seen.includes(ground));
  for (const value of known) form.prepend(element('input', { type: 'hidden', name: 'seen', value }));
  draft.seen = [...draft.seen, ...known];
  const last = rows.at(-1);
  if (last?.state !== 'saved' || !last.words) return;
  document.querySelector('.subject').append(element('p', { className: 'open-ground' }, `Saved on this tablet ${clock(last.at)}, not yet received: ${last.words}.`));
}

async function restore() {
  // The server has written down what stands on the page that it sent.
  for (const name of unwritten()) draft.written[name] = { received: true };
  const kept = await load(key).catch(() => undefined);
  if (!kept?.fields) return;
  // The page of a check that was sent before shows what was sent.
  if (kept.run === draft.run) draft = { ...draft, written: { ...draft.written, ...kept.written }, at: kept.at };
  else offer(kept);
}

// ---------------------------------------------------------------- hands on the form

// What is done says what is not: it leads to the next step without an answer.
const done = progress.querySelector('[data-progress=done]');
const next = element('a', { id: 'next-missing', href: '#main', title: 'To the next step without an answer' }, done.textContent);
done.replaceChildren(next);
next.addEventListener('click', (event) => {
  event.preventDefault();
  const missing = steps.filter((s) => s.state === 'missing');
  const below = missing.find(({ card }) => card.getBoundingClientRect().top > innerHeight / 2);
  const to = below ?? missing[0] ?? steps.find((s) => s.findings.length) ?? steps[0];
  to.card.scrollIntoView({ block: 'start' });
  to.card.querySelector('input, select')?.focus({ preventScroll: true });
});

// An answer in a word and one in numbers at the same try: the later one holds.
function settle(field) {
  const set = field.closest('fieldset');
  const other = (end) => set?.querySelector(`[name$=".${end}"]`);
  if (/\.good$/.test(field.name) && field.checked) {
    for (const timed of [other('held'), other('seconds')]) if (timed) timed.value = '';
  } else if (/\.(at|cylinder|remote|start|end|held)$/.test(field.name) && field.value.trim()) {
    for (const tap of set.querySelectorAll('[name$=".good"]')) tap.checked = false;
  }
}

let pause = null;
function changed(field, typing) {
  const step = stepOf(field);
  if (!step) return;
  settle(field);
  const answers = answersIn(data, fields());
  clearTimeout(pause);
  showStep(step, answers, typing ? field.closest('fieldset') : null);
  // What is worn is named once and belongs to other steps too.
  if (/\.item$/.test(field.name)) steps.forEach((s) => s !== step && showStep(s, answers));
  showSummary();
  keep();
  if (typing) pause = setTimeout(() => showStep(step, answersIn(data, fields())), TYPING);
  else thinkAgain(step);
}

// The unit on this kind of unit's gauges is chosen once.
const UNIT = `unit of ${data.profile}`;
function useUnit(unit) {
  for (const select of form.querySelectorAll('select[name$="_unit"]')) {
    const number = form.elements[select.name.replace(/_unit$/, '')];
    if (!number.value && [...select.options].some((o) => o.value === unit)) select.value = unit;
  }
}

// Of two gauges the second comes by itself, as its label says, once one more digit of the first could be
// no reading: a glove need not find the field.
for (const { limits: { kind }, tries } of steps) {
  if (kind !== 'pair') continue;
  for (const set of tries) set.querySelector('label[for$=".remote"]')?.append(element('span', { className: 'soft' }, ' comes by itself'));
}
function onward(field) {
  const other = form.elements[field.name.replace(/\.cylinder$/, '.remote')];
  const { card } = stepOf(field) ?? {};
  const most = 1.5 * card?.querySelector('[data-strip]')?.dataset.rated;
  const whole = /^\d+$/.test(field.value) && field.value * 10 > most && form.elements[`${field.name}_unit`]?.value === data.limits.unit;
  if (other !== field && other?.value === '' && whole && field.selectionEnd === field.value.length) other.focus();
}

form.addEventListener('input', ({ target, inputType }) => {
  if (!target.matches('input:not([type=radio], [type=checkbox]), textarea')) return;
  changed(target, true);
  if (/\.cylinder$/.test(target.name) && inputType?.startsWith('insert')) onward(target);
});
// The key that ends a number on a tablet's keypad ends the number, and not the check.
form.addEventListener('keydown', (event) => {
  const { key: pressed, target } = event;
  if (pressed !== 'Enter' || !target.matches('.entry input')) return;
  event.preventDefault();
  const empty = [...stepOf(target)?.card.querySelectorAll('.entry input') ?? []].find((i) => i !== target && !i.value && i.checkVisibility?.() && /\.(remote|end)$/.test(i.name));
  if (empty) empty.focus();
  else target.blur();
});
form.addEventListener('change', ({ target }) => {
  if (target.matches('select[name$="_unit"]')) {
    choose(UNIT, target.value);
    useUnit(target.value);
  }
  changed(target, false);
});

// ---------------------------------------------------------------- handing in, or saving here

// The last answer of the station that is still fresh enough to go by.
const FRESH = 5000;
const reachable = () => (station.reached && performance.now() - station.at < FRESH ? true : reach());

let through = false;
form.addEventListener('submit', async (event) => {
  if (through) return;
  event.preventDefault();
  const { submitter } = event;
  await writeDown();
  if (submitter?.value === 'stop' && await stopHere()) return;
  await keep();
  if (await reachable()) {
    through = true;
    form.requestSubmit(submitter);
    through = false;
  } else {
    reviewHere().catch(() => sayUnkept('The review could not be fetched. Try again where the station can be reached.'));
  }
});

const main = document.getElementById('main');
const body = document.body.classList;
const board = document.querySelector('.top .house').href;

// Shows a page of the script's own in place of the form, which keeps all that stands in it.
function show(page) {
  main.querySelector(':scope > [data-part]')?.remove();
  document.getElementById('problems')?.remove();
  const parts = [form, form.previousElementSibling, main.querySelector(':scope > .subject')];
  for (const part of parts) if (part?.matches('form, .subject, #kept')) part.hidden = Boolean(page);
  body.toggle('checking', !page);
  body.toggle('narrow', Boolean(page));
  if (!page) return;
  main.append(page);
  scrollTo(0, 0);
  page.querySelector('h1').focus();
}

// Fetched with the first answer: a form opens without it.
const reviewing = () => Promise.all([import('./review.js'), import('./after.js')]).then(([review, after]) => ({ ...review, ...after }));
form.addEventListener('change', () => { reviewing().catch(() => {}); }, { once: true });

async function reviewHere() {
  const { afterGood, problemsOf, reviewOf } = await reviewing();
  const answers = answersIn(data, fields());
  const judged = judge(data.limits, answers);
  show(null);
  const problems = [...judged.problems ?? [], ...misnamed(fields())];
  if (problems.length) {
    const section = problemsOf(form, data.limits, problems);
    form.before(section);
    section.focus();
    return;
  }
  const { members, seal_key: to } = await list();
  const sealing = to && await import('./seal.js').catch(() => null);
  const seals = Boolean(sealing?.canSeal());
  const rows = await all().catch(() => []);
  const after = afterGood({ data, rows, made, written: draft.written, answers });
  const page = reviewOf({
    form, data: { ...data, after }, answers, judged, members, bay: bay?.said(), seals, back: () => show(null),
    // What cannot be sealed is saved all the same, and proven later.
    save: (signer, pin) => saveHere(signer, judged, after, pin && (async (digest) => sealing.sealPin(to, pin, digest, await tablet).catch(() => undefined))),
  });
  show(page);
  if (!members.length) say(page.querySelector('[data-of=trouble]'), 'This tablet has not heard yet who may sign. Bring it to where the station can be reached; the answers are kept.');
}

let saving = false;
async function saveHere(signer, judged, after, seal) {
  if (saving) return false;
  saving = true;
  try {
    // Signed at the server before, it may have arrived although the answer did not: two checks then.
    const run = chosen('tried') === draft.run ? newId() : draft.run;
    const record = await recordOf('complete', { ...signer, id: run, run });
    const { at, seal: locked } = await write(record, { over: key, more: about(record, judged), seal });
    form.removeAttribute('data-begun');
    draft.done = true;
    const { verdictOf } = await reviewing();
    show(verdictOf({ data: { ...data, after }, judged, board, said: `Saved on this tablet ${clock(at)}, not yet received.${locked ? '' : ' Your PIN is asked when the station can be reached.'}` }));
    return true;
  } catch (e) {
    const kept = e.name === 'ConstraintError' ? 'This check is saved on this tablet already.' : `${storeTrouble(e)} This check is not saved. The answers stay on this page: do not close it.`;
    say(main.querySelector('[data-of=trouble]'), kept);
    return false;
  } finally {
    saving = false;
    sync();
  }
}

// The bell rings: it is saved here before anything else, and whoever has to go is not kept waiting.
async function stopHere() {
  try {
    const record = await recordOf('stopped');
    await write(record, { draft: { ...draft, at: Date.now(), fields: [...fields()] }, more: about(record, judge(data.limits, record.body.answers)) });
    form.removeAttribute('data-begun');
    await Promise.race([sync(), new Promise((done) => { setTimeout(done, FRESH / 2); })]);
    const { seq } = (await all()).find(({ id }) => id === record.id) ?? {};
    location.href = seq ? `/records/${seq}/verdict` : board;
    return true;
  } catch (e) {
    sayUnkept(storeTrouble(e));
    return false;
  }
}

document.addEventListener('visibilitychange', () => { if (document.hidden) writeDown(); });
addEventListener('pagehide', () => { writeDown(); });
// A page that the browser has kept whole shows a check that may be handed in by now.
addEventListener('pageshow', async ({ persisted }) => {
  if (persisted && draft.at && !await load(key).catch(() => draft)) location.reload();
});

for (const button of form.querySelectorAll('[data-timer]')) {
  const step = stepOf(button);
  attach(button, step.limits.kind, (values) => {
    // After a failure it is the next try that is being timed.
    const open = (set) => ![...set.querySelectorAll('input:not([name$=".item"])')].some((i) => (i.type === 'text' ? i.value : i.checked));
    const set = (step.findings.length && (step.tries.find(open) ?? step.tries.at(-1))) || step.tries[0];
    for (const [field, value] of Object.entries(values)) {
      const input = set.querySelector(`[name$=".${field}"]`);
      if (!input) continue;
      input.value = value;
      input.closest('details.more')?.setAttribute('open', '');
      input.dispatchEvent(new Event('change', { bubbles: true }));
    }
  });
}

useUnit(chosen(UNIT));
showAll();
if (await isOther()) await new Promise(() => {});
await lookBack();
await restore();
showAll();
form.toggleAttribute('data-begun', entered(fields()).length > 0);
form.dataset.ready = '';
