// Runs the judge's vectors through the tablet's script:
//
//   node tests/vectors/run.mjs
//
// Each whole judgement must be the same, word for word. Then each number of each form's limits is
// moved by the least that can be read, up and down, and the vectors of that form must notice.
import { readFileSync } from 'node:fs';
import { isDeepStrictEqual } from 'node:util';
import { judge } from '../../static/judge.js';

const load = (name) => JSON.parse(readFileSync(new URL(name, import.meta.url), 'utf8'));

const forms = new Map(load('forms.json').map((f) => [f.form, f]));
const vectors = load('judge.json');

/** All answers of a vector. */
function answersOf({ form, rest, answers }) {
  const given = new Set(answers.map((a) => a.step));
  return rest ? [...answers, ...forms.get(form).good.filter((a) => !given.has(a.step))] : answers;
}

/** The vectors about which the script and the judge differ, up to `most`. */
function differences(some, limitsOf, most = Infinity) {
  const out = [];
  for (const vector of some) {
    if (out.length >= most) break;
    const got = judge(limitsOf(vector.form), answersOf(vector));
    if (!isDeepStrictEqual(got, vector.expect)) out.push({ vector, got });
  }
  return out;
}

/** Copies of some limits, each with one number moved; `what` names it. */
function* moved(limits) {
  const thousandth = BigInt(limits.grains[limits.unit]);
  const copy = (path, value) => {
    const out = structuredClone(limits);
    path.slice(0, -1).reduce((o, key) => o[key], out)[path.at(-1)] = value;
    return out;
  };
  const change = function* (path, value) {
    if (Array.isArray(value) && /^\d+$/.test(value[0])) {
      for (const by of [-1n, 1n]) {
        const grains = BigInt(value[0]) + by * thousandth * BigInt(value[1]);
        yield { what: `${path.join('.')} ${by}`, limits: copy(path, [String(grains), value[1]]) };
      }
    } else if (typeof value === 'number' && path.at(-1) !== 'tries') {
      for (const by of [-1, 1]) yield { what: `${path.join('.')} ${by}`, limits: copy(path, value + by) };
    } else if (value && typeof value === 'object') {
      for (const [key, inner] of Object.entries(value)) yield* change([...path, key], inner);
    }
  };
  yield* change(['steps'], limits.steps);
}

function main() {
  const wrong = differences(vectors, (form) => forms.get(form).limits, 5);
  for (const { vector, got } of wrong) {
    console.log(`${vector.form}\n  answers ${JSON.stringify(vector.answers)}\n  judge   ${JSON.stringify(vector.expect)}\n  script  ${JSON.stringify(got)}`);
  }
  if (wrong.length) return 1;
  console.log(`${vectors.length} vectors agree`);

  let count = 0;
  const unnoticed = [];
  for (const [name, { limits }] of forms) {
    const some = vectors.filter((v) => v.form === name);
    for (const mutant of moved(limits)) {
      count += 1;
      if (!differences(some, () => mutant.limits, 1).length) unnoticed.push(`${name}: ${mutant.what}`);
    }
  }
  for (const text of unnoticed) console.log(`moved and not noticed: ${text}`);
  if (unnoticed.length || count === 0) return 1;
  console.log(`${count} limits moved one at a time, each noticed`);
  return 0;
}

process.exitCode = main();
