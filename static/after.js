// What this tablet makes of a unit by its own records, and what a good check does not make of it.
import { isKnown, wasUsed } from './use.js';

/** Every standing. */
export const WORST_FIRST = ['retired', 'held', 'out', 'put-right', 'due', 'in'];
/** The worse of two. */
export const worse = (a, b) => (WORST_FIRST.indexOf(a) <= WORST_FIRST.indexOf(b) ? a : b);

const UNSURE = 'Everything asked is good. Whether it rides, the station says.';
const OPEN = 'Everything asked is good. It does not ride before what else is open against it is dealt with.';

/** What the tablet's own records make of a unit, oldest first. */
export function ownVerdict(rows) {
  let verdict;
  let dirty = wasUsed(rows) ? 'due' : 'in';
  for (const { outcome, verdict: said } of rows) {
    // What came back soiled is cleaned before a check says anything, and that is written at the station.
    if (outcome === 'used' && said !== 'due') dirty = worse(dirty, said);
    // What took it out of service stays; a complete check says anew whether the rest is put right.
    if (verdict !== 'out' && (outcome === 'complete' || !verdict)) verdict = said;
    else verdict = worse(verdict, said);
  }
  return verdict && worse(dirty, verdict);
}

/**
 * What stays in the way of a unit once everything asked is good, as the form's own `after`: the station's word,
 * or what this tablet knows and the page does not where that is worse. `written` is what has failed in this
 * check and stands written down; each such thing, and each that the station asks another one for, must not be
 * the one that is good now.
 */
export function afterGood({ data, rows, made, written, answers }) {
  const item = (step) => answers.filter((a) => a.step === step).at(-1)?.item;
  const title = (step) => data.limits.steps.find((s) => s.id === step)?.title ?? step;
  const here = Object.keys(written).map((name) => name.split('/'))
    .map(([step, , failed]) => [step, failed, `${title(step)}: not good before, and written down.`]);
  const failed = [...data.another, ...here].filter(([step, one]) => !one || [undefined, one].includes(item(step)));
  const ofHere = Object.values(written).map(({ id }) => id);
  const own = rows.filter((row) => row.unit === data.unit && row.verdict && !isKnown(row, made) && !ofHere.includes(row.id));
  const state = worse(failed.length ? 'out' : 'in', ownVerdict([...own, { outcome: 'complete', purpose: data.purpose, verdict: 'in' }]));
  const known = data.after?.state ?? 'in';
  if (state === known || worse(state, known) === known) return data.after;
  const words = own.filter((row) => row.words && row.verdict !== 'in').map((row) => `${row.words}.`);
  const because = [...new Set([...data.after?.because ?? [], ...failed.map(([, , say]) => say), ...words])];
  return { state, word: state, say: state === 'due' ? UNSURE : OPEN, because };
}
