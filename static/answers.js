// From the fields of the check form to answers, to what the form shows, and to the record of a
// check broken off. Pure: no page, no clock, no storage.
import { judgeStep } from './judge.js';

const UNITS = { seconds: 's', held: 's', first: 's', full: 's', count: '', good: '' };
const NUMBER_OF_A_THING = /^[A-Za-z0-9._-]{1,32}$/;
const SUBJECTS = ['facepiece', 'cylinder'];

/** The name of a field of the form. */
export const fieldName = (step, attempt, field) => `a.${step}.${attempt}.${field}`;

// What was typed, by step and try: text by field, without what is empty.
function typedIn(fields) {
  const typed = {};
  for (const [name, value] of fields) {
    const [, step, attempt, field] = /^a\.([^.]+)\.([1-9])\.([^.]+)$/.exec(name) ?? [];
    if (field && value.trim()) ((typed[step] ??= {})[attempt] ??= {})[field] = value.trim();
  }
  return typed;
}

// A unit of pressure or the number of a thing alone is not an answer.
const isAnswered = (typed) => Object.keys(typed).some((field) => field !== 'item' && !field.endsWith('_unit'));

function valuesOf(step, typed, unit) {
  const values = {};
  for (const field of step.fields) {
    const text = typed[field];
    if (text === undefined) continue;
    const own = UNITS[field] ?? typed[`${field}_unit`] ?? unit;
    // A unit typed with the number is the one that was meant.
    values[field] = own && !/\p{Alphabetic}/u.test(text) ? `${text} ${own}` : text;
  }
  if (['yes', 'no'].includes(values.good)) values.good = values.good === 'yes';
  return values;
}

/** The answers in these fields (name and text), in the order of the form. */
export function answersIn(data, fields) {
  const typed = typedIn(fields);
  const tries = (step) => {
    const all = Object.entries(typed[step.id] ?? {});
    return all.slice(0, all.findLastIndex(([, t]) => isAnswered(t)) + 1);
  };
  // The facepiece and cylinder that are here: read off them, else those in the register.
  const here = { ...data.items };
  for (const step of data.limits.steps) {
    const item = step.kind === 'identity' && tries(step).at(-1)?.[1].item;
    if (item && step.separate) here[step.subject] = item;
  }
  return data.limits.steps.flatMap((step) => {
    let item = step.separate ? here[step.subject] : undefined;
    return tries(step).flatMap(([attempt, t]) => {
      if (step.separate && t.item) item = t.item;
      const answer = { step: step.id, try: Number(attempt), values: valuesOf(step, t, data.limits.unit) };
      if (item) answer.item = item;
      if (t.note) answer.note = t.note;
      return Object.keys(answer.values).length || t.note ? [answer] : [];
    });
  });
}

const STATE = { out_of_service: 'out', put_right: 'put-right', remark: 'remark' };
const WORST_FIRST = ['out', 'put-right', 'missing', 'remark', 'good'];

/** In words, for those who do not see the shape. */
export const STATE_WORDS = {
  out: 'out of service', 'put-right': 'to be put right', missing: 'to do', remark: 'remark', good: 'done',
};

/** The worst of some states. */
export const worstState = (states) => WORST_FIRST.find((s) => states.includes(s)) ?? 'missing';

const sentence = (text) => text.charAt(0).toUpperCase() + text.slice(1);

function findingWords(step, f) {
  const working = f.working.replace(`${step.title}: `, '');
  if (f.repeat) return `Once more, slower. ${sentence(f.working)}.`;
  const what = step.separate && f.item ? `${sentence(f.subject)} ${f.item} out of service` : 'Out of service';
  return `${{ out_of_service: what, put_right: 'Put right', remark: 'Remark' }[f.consequence]}: ${working}.`;
}

/** How one step stands, and what to say beside each of its tries. */
export function stepView(limits, step, answers) {
  const own = answers.filter((a) => a.step === step.id);
  const judged = judgeStep(limits, step.id, own);
  const tries = own.map((answer) => {
    const problem = judged.problems.find((p) => p.attempt === answer.try);
    const finding = judged.findings.find((f) => f.try === answer.try);
    const entered = Object.keys(answer.values).filter((name) => name !== 'good');
    if (problem) return { try: answer.try, state: 'missing', problem: problem.field, words: `${sentence(problem.say)}.` };
    if (finding) return { try: answer.try, state: STATE[finding.consequence], words: findingWords(step, finding) };
    // A note alone is no answer; a tap speaks for itself; a number is answered.
    if (!Object.keys(answer.values).length) return { try: answer.try, state: 'missing', words: '' };
    return { try: answer.try, state: 'good', words: entered.length ? 'Good.' : '' };
  });
  const open = judged.findings.filter((f) => !f.settled).map((f) => STATE[f.consequence]);
  const done = judged.findings.length ? 'remark' : 'good';
  const state = open.length ? worstState(open) : judged.satisfied ? done : 'missing';
  return { state, tries, findings: judged.findings };
}

/** Names each finding that takes something out of service, so that it is written down once. */
export function failing(findings) {
  return findings
    .filter((f) => f.consequence === 'out_of_service' && !f.repeat)
    .map((f) => [f.step, f.try, f.item ?? '', f.entered].join('/'));
}

/** What the record of a check says, as it stands now: its outcome is the caller's word. */
export function checkBody(data, fields, outcome) {
  const fits = (number) => NUMBER_OF_A_THING.test(number ?? '');
  // A record with a number that no thing can have cannot be judged: better without it.
  const answers = answersIn(data, fields).map(({ item, ...answer }) => (fits(item) ? { ...answer, item } : answer));
  const subject = new Map(data.limits.steps.map((s) => [s.id, s.subject]));
  const body = {
    unit: data.unit, profile: data.profile, rules: data.rules, engine: data.engine, purpose: data.purpose,
    outcome, run: data.run, started: data.started, seen: data.seen, answers,
  };
  if (data.warmth) body.bay = data.warmth;
  for (const name of SUBJECTS) {
    const number = answers.filter((a) => subject.get(a.step) === name && a.item).at(-1)?.item ?? data.items?.[name];
    if (fits(number)) body[name] = number;
  }
  return body;
}

/** Numbers of facepieces and cylinders that no thing can have, said as the server says it. */
export const misnamed = (fields) => Object.entries(typedIn(fields)).flatMap(([step, tries]) => Object.entries(tries)
  .filter(([, { item }]) => item && !NUMBER_OF_A_THING.test(item))
  .map(([attempt]) => ({
    step, attempt: Number(attempt), field: 'item', say: 'copy the number as it is painted: letters, digits, dots and dashes, at most 32',
  })));

/** The grounds that a record raises at the unit and that a later check can settle: it must have seen them. */
export function raisedBy(findings, digest) {
  return findings.filter((f) => !f.settled && !f.repeat && f.consequence !== 'remark')
    .filter((f) => f.consequence === 'put_right' || f.item !== undefined)
    .map((f) => [f.consequence === 'put_right' ? 'put-right' : 'another', digest, f.step, f.try, f.item ?? '-'].join('/'));
}

const grouped = (text) => text.replace(/^\d+/, (digits) => digits.replace(/\B(?=(\d{3})+$)/g, ','));

/** An answer in words, as the record will show it; nothing where nothing was entered. */
export function answerWords(step, { values: v, item }) {
  const either = (yes, no) => (v.good === undefined ? undefined : v.good ? yes : no);
  const all = (...parts) => parts.filter(Boolean).join(', ');
  const [a, b] = { pair: ['cylinder', 'remote'], drop: ['start', 'end'] }[step.kind] ?? ['at'];
  const [one, two] = [v[a], v[b]].map((text) => text && grouped(text));
  const both = (between) => (one && two ? one + between + two : one || two);
  const said = {
    identity: () => either('this is it', 'a different one is here'),
    confirm: () => either('good', 'not good'),
    reading: () => (v.good === false ? 'cannot be read' : one),
    pair: () => (v.good === false ? 'cannot be read' : both(' and ')),
    trip: () => (v.good === false ? 'never sounded' : one),
    drop: () => all(one && `${both(' to ')}${v.seconds ? ` in ${v.seconds}` : ''}`, either('good', 'not good')),
    hold: () => all(v.held, either('held the whole time', 'let go')),
    stages: () => all(v.count && `${v.count} stages`, v.first && `the first at ${v.first}`, v.full && `full alarm at ${v.full}`, either('good', 'not good')),
  }[step.kind]();
  return said && item ? `${said} (${step.separate ? `${step.subject} ` : ''}${item})` : said;
}

/** Where the two gauges stand on the strip, in percent of its width; null where not entered. */
export function strip({ rated, ratedAt, limit }, reading, other) {
  const place = (value) => Math.min(100, Math.max(0, (value / rated) * ratedAt));
  const known = (value) => value !== null && Number.isFinite(value);
  const [fill, line] = [reading, other].map((value) => (known(value) ? place(value) : null));
  const room = known(reading) && limit > 0
    ? { from: place(reading - limit), width: place(reading + limit) - place(reading - limit) }
    : null;
  return { fill, line, room };
}
