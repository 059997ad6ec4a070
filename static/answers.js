// From the fields of the check form to answers, to what the form shows, and to the record of a
// check broken off. Pure: no page, no clock, no storage.
import { judgeStep } from './judge.js';

const PRESSURES = ['at', 'cylinder', 'remote', 'start', 'end'];
const TIMES = ['seconds', 'held', 'first', 'full'];
const NUMBER_OF_A_THING = /^[A-Za-z0-9._-]{1,32}$/;

/** The name of a field of the form. */
export const fieldName = (step, attempt, field) => `a.${step}.${attempt}.${field}`;

// What is worn with the unit or is in it, by the number read off it.
function worn(data, fields, subject) {
  const step = data.limits.steps.find((s) => s.kind === 'identity' && s.subject === subject);
  const read = step && fields.get(fieldName(step.id, 1, 'item'))?.trim();
  const number = read || data.items?.[subject];
  return NUMBER_OF_A_THING.test(number ?? '') ? number : undefined;
}

function valuesOf(step, attempt, fields, unit) {
  const values = {};
  for (const field of step.fields) {
    const name = fieldName(step.id, attempt, field);
    const text = fields.get(name)?.trim();
    if (!text) continue;
    if (PRESSURES.includes(field)) values[field] = `${text} ${fields.get(`${name}_unit`) ?? unit}`;
    else values[field] = TIMES.includes(field) ? `${text} s` : text;
  }
  return values;
}

/** The answers in these fields (a Map of name to text), in the order of the form. */
export function answersIn(data, fields) {
  const tries = new Map();
  for (const name of fields.keys()) {
    const [, step, attempt] = /^a\.([^.]+)\.(\d)\.[^.]+$/.exec(name) ?? [];
    if (step) tries.set(step, (tries.get(step) ?? new Set()).add(Number(attempt)));
  }
  const out = [];
  for (const step of data.limits.steps) {
    for (const attempt of [...tries.get(step.id) ?? []].sort()) {
      const values = valuesOf(step, attempt, fields, data.limits.unit);
      const note = fields.get(fieldName(step.id, attempt, 'note'))?.trim();
      if (!Object.keys(values).length && !note) continue;
      const answer = { step: step.id, try: attempt, values };
      // Only a number given with the answer says which thing failed; the first try is at what is worn.
      const item = fields.get(fieldName(step.id, attempt, 'item'))?.trim()
        || (step.separate && attempt === 1 ? worn(data, fields, step.subject) : undefined);
      if (NUMBER_OF_A_THING.test(item ?? '')) answer.item = item;
      if (note) answer.note = note;
      out.push(answer);
    }
  }
  return out;
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
  if (f.repeat) return `Once more, slower. ${sentence(f.working)}.`;
  const what = step.separate && f.item ? `${sentence(f.subject)} ${f.item} out of service` : 'Out of service';
  return `${{ out_of_service: what, put_right: 'Put right', remark: 'Remark' }[f.consequence]}: ${f.working}.`;
}

/** How one step stands, and what to say beside each of its tries. */
export function stepView(limits, step, answers) {
  const own = answers.filter((a) => a.step === step.id);
  const judged = judgeStep(limits, step.id, own);
  const tries = own.map((answer) => {
    const problem = judged.problems.find((p) => p.attempt === answer.try);
    const finding = judged.findings.find((f) => f.try === answer.try);
    const entered = Object.keys(answer.values);
    if (problem) return { try: answer.try, state: 'missing', problem: problem.field, words: `${sentence(problem.say)}.` };
    if (finding) return { try: answer.try, state: STATE[finding.consequence], words: findingWords(step, finding) };
    if (!entered.length) return { try: answer.try, state: 'missing', words: '' };
    // A tap speaks for itself; a number is answered.
    return { try: answer.try, state: 'good', words: entered.some((name) => name !== 'good') ? 'Good.' : '' };
  });
  let state = STATE[judged.verdict] ?? 'good';
  if (!judged.tries) state = 'missing';
  else if (state === 'good' && judged.findings.some((f) => f.consequence === 'remark')) state = 'remark';
  return { state, tries, findings: judged.findings };
}

/** Names each finding that takes something out of service, so that it is written down once. */
export function failing(findings) {
  return findings
    .filter((f) => f.consequence === 'out_of_service' && !f.repeat)
    .map((f) => [f.step, f.try, f.item ?? '', f.entered].join('/'));
}

/** The record of a check broken off at an answer that takes something out of service. */
export function brokenOff(data, fields, id, at) {
  const record = {
    v: 1, kind: 'check', id, tablet: data.tablet, at, client: data.client ?? 'check form',
    body: {
      unit: data.unit, profile: data.profile, rules: data.rules, engine: data.engine, purpose: data.purpose,
      outcome: 'broken_off', run: data.run, started: data.started, seen: data.seen, answers: answersIn(data, fields),
    },
  };
  for (const subject of ['facepiece', 'cylinder']) {
    const number = worn(data, fields, subject);
    if (number) record.body[subject] = number;
  }
  return record;
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
