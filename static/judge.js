// What the answers of a check mean: the same rules, numbers and words as the server's judge, so
// that the tablet says at once what the server will say. Both run tests/vectors/judge.json.
// Pure: no page, no clock. Pressures are exact fractions of grains, as pairs of BigInt.

const PRESSURE_LIKE = '4010 psi or 300 bar';
const SECONDS_LIKE = '10 s';
const MOST = 1_000_000_000n;
const LONGEST = 600_000n;
const WORST_FIRST = ['out_of_service', 'incomplete', 'put_right', 'in_service'];
// To how many thousandths a pressure is rounded in words.
const ROUND = { psi: 1000n, kPa: 1000n, bar: 100n, MPa: 10n };
const NONE = [0n, 1n];

// ---------------------------------------------------------------- numbers and their words

const trim = (s) => s.replace(/^\p{White_Space}+|\p{White_Space}+$/gu, '');
const exact = ([grains, parts]) => [BigInt(grains), BigInt(parts)];
const compare = (a, b) => {
  const [x, y] = [a[0] * b[1], b[0] * a[1]];
  return x < y ? -1 : x > y ? 1 : 0;
};
const minus = (a, b) => [a[0] * b[1] - b[0] * a[1], a[1] * b[1]];
const against = (amount, wall) => compare(amount, exact(wall.at));
const apart = (a, b) => {
  const [grains, parts] = minus(a, b);
  return [grains < 0n ? -grains : grains, parts];
};

function plain(thousandths) {
  const digits = String(thousandths).padStart(4, '0');
  const fraction = digits.slice(-3).replace(/0+$/, '');
  return digits.slice(0, -3) + (fraction && `.${fraction}`);
}

function grouped(thousandths) {
  const [whole, fraction] = plain(thousandths).split('.');
  const spaced = whole.replace(/\B(?=(\d{3})+$)/g, ',');
  return fraction ? `${spaced}.${fraction}` : spaced;
}

const seconds = (ms) => `${plain(ms)} s`;
const roundTo = (value, step) => ((value + step / 2n) / step) * step;

function thousandthsOf(limits, amount) {
  const parts = amount[1] * BigInt(limits.grains[limits.unit]);
  return (2n * amount[0] + parts) / (2n * parts);
}

// An amount in the profile's unit, with as many decimals as it takes for it and the limit not to
// look equal when they are not.
function words(limits, amount, against = amount) {
  const [mine, its] = [thousandthsOf(limits, amount), thousandthsOf(limits, against)];
  const differ = compare(amount, against) !== 0;
  let step = ROUND[limits.unit];
  while (differ && step > 1n && roundTo(mine, step) === roundTo(its, step)) step /= 10n;
  return `${grouped(roundTo(mine, step))} ${limits.unit}`;
}

// A reading as it was read and, where that differs, in the profile's unit.
function readWords(limits, p) {
  const asRead = `${grouped(p.thousandths)} ${p.unit}`;
  return p.unit === limits.unit ? asRead : `${asRead} (${words(limits, p.amount)})`;
}

const entered = (p) => `${plain(p.thousandths)} ${p.unit}`;
const share = (wall) => (wall.share ? ` (${wall.share})` : '');

// ---------------------------------------------------------------- reading one answer

class Unreadable extends Error {}
const unreadable = (say) => { throw new Unreadable(say); };

// Splits "4010 psi" and reads its number into thousandths.
function quantity(text, like) {
  const whole = trim(text);
  if (!whole) unreadable(`nothing was entered; write a number and its unit, like ${like}`);
  const [, number, rest] = /^([-+]?[\d.,]*)(.*)$/s.exec(whole);
  if (/^-\d/.test(number)) unreadable(`“${whole}” is below zero; a reading cannot be`);
  const [, int, fraction = ''] = /^(\d+)(?:\.(\d+))?$/.exec(number) ?? [];
  if (!int) unreadable(`“${whole}” is not a number; write digits, like ${like}`);
  const thousandths = BigInt(int) * 1000n + BigInt(fraction.slice(0, 3).padEnd(3, '0'));
  if (int.length > 7 || fraction.length > 3 || thousandths > MOST) {
    unreadable(`“${whole}” is not a reading any gauge or watch gives; look again`);
  }
  const unit = trim(rest);
  if (!unit) unreadable(`“${whole}” has no unit; write it like ${like}`);
  return { thousandths, unit };
}

const noSuchUnit = (unit, like) => unreadable(`“${unit}” is not a unit used here; write it like ${like}`);
const lower = (s) => s.replace(/[A-Z]/g, (c) => c.toLowerCase());

function pressure(limits, text) {
  const read = quantity(text, PRESSURE_LIKE);
  const unit = Object.keys(limits.grains).find((u) => lower(u) === lower(read.unit))
    ?? noSuchUnit(read.unit, PRESSURE_LIKE);
  const amount = [read.thousandths * BigInt(limits.grains[unit]), 1n];
  const p = { thousandths: read.thousandths, unit, amount };
  if (compare(amount, exact(limits.absurd)) > 0) {
    const said = `${grouped(p.thousandths)} ${unit}`;
    unreadable(`${said} is more than half as much again as the rated ${limits.rated.words}; look again`);
  }
  return p;
}

function time(text) {
  const { thousandths, unit } = quantity(text, SECONDS_LIKE);
  if (unit !== 's') noSuchUnit(unit, SECONDS_LIKE);
  if (thousandths > LONGEST) unreadable('that is more than ten minutes; look again');
  return Number(thousandths);
}

function count(text) {
  const digits = trim(text);
  if (/^\+?\d+$/.test(digits) && Number(digits) <= 20) return Number(digits);
  return unreadable(`“${text}” is not a count; write a whole number from 0 to 20`);
}

function yesOrNo(text, value) {
  if (value === true || value === 'yes') return true;
  if (value === false || value === 'no') return false;
  return unreadable(`“${text}” is neither yes nor no`);
}

// Reads one answer into an entry, or null where nothing was entered; pushes what cannot be read.
function readEntry(limits, step, answer, problems) {
  const before = problems.length;
  const say = (field, text) => problems.push({ step: answer.step, attempt: attempt(answer), field, say: text });
  const sayOnce = (field, text) => { if (problems.length === before) say(field, text); };
  const take = (field, read) => {
    const value = answer.values[field];
    if (value === undefined) return null;
    try {
      return read(String(value), value);
    } catch (e) {
      if (!(e instanceof Unreadable)) throw e;
      say(field, e.message);
      return null;
    }
  };
  for (const name of Object.keys(answer.values).sort()) {
    if (!step.fields.includes(name)) say(name, `“${name}” means nothing here; this step takes ${step.fields.join(', ')}`);
  }
  if (attempt(answer) < 1 || attempt(answer) > 9) say('try', 'attempts are counted from 1 to 9');

  const good = take('good', yesOrNo);
  const psi = (field) => take(field, (text) => pressure(limits, text));
  const tapped = good === null ? null : { good };
  // "Not good" is never outweighed by numbers.
  const spokenFor = (entry) => (good === false ? tapped : entry ?? tapped);
  // "Good" alone does not answer a step with a pressure; "not good" does.
  const measured = (entry, wants) => {
    if (good === false) return { good };
    if (!entry && good) sayOnce('good', `this step wants the reading itself: ${wants}`);
    return entry;
  };
  let entry;
  switch (step.kind) {
    case 'reading':
    case 'trip': {
      const at = psi('at');
      entry = measured(at && { good: true, at }, 'at = "1500 psi"');
      break;
    }
    case 'pair': {
      const [a, b] = [psi('cylinder'), psi('remote')];
      if (!a !== !b) sayOnce(a ? 'remote' : 'cylinder', 'read this gauge too; two gauges are compared');
      entry = measured(a && b && { good: true, a, b }, 'both gauges');
      break;
    }
    case 'drop': {
      const [a, b, s] = [psi('start'), psi('end'), take('seconds', time)];
      const lacking = ['start', 'end', 'seconds'].filter((_, i) => [a, b, s][i] === null);
      if (lacking.length % 3) sayOnce(lacking[0], 'start, end and the seconds between are all needed');
      if (a && b && compare(minus(b.amount, a.amount), exact(step.largest.at)) > 0) {
        sayOnce('end', 'this is far above the start, and no pressure rises by itself; look again');
      }
      entry = spokenFor(lacking.length ? null : { good: true, a, b, s });
      break;
    }
    case 'hold': {
      const held = take('held', time);
      entry = spokenFor(held === null ? null : { good: true, held });
      break;
    }
    case 'stages': {
      const [n, first, full] = [take('count', count), take('first', time), take('full', time)];
      const given = { n, first, full };
      const wanting = good === null && leftOut(step, given);
      if (wanting) sayOnce(wanting, 'note this too, or answer that the whole sequence was good or not good');
      entry = [good, n, first, full].every((x) => x === null) ? null : { good: good !== false, ...given };
      break;
    }
    default:
      entry = tapped;
  }
  return problems.length > before ? null : entry;
}

const attempt = (answer) => answer.try ?? 1;
const given = (x) => x !== null && x !== undefined;
const late = (t, by) => given(t) && given(by) && t > by;

// What must still be noted of a sequence before nothing speaks against it. A part that is already
// outside its limit decides by itself.
function leftOut(step, { n, first, full }) {
  if (![n, first, full].some(given) || (given(n) && n !== step.count)) return null;
  if (late(first, step.first_by) || late(full, step.full_by)) return null;
  if (!given(n)) return 'count';
  if (!given(first) && given(step.first_by)) return 'first';
  return !given(full) && given(step.full_by) ? 'full' : null;
}

// ---------------------------------------------------------------- holding it against the limit

// Null where it is good.
function weigh(limits, step, e) {
  const bad = (what, limit, working, more) => ({ consequence: step.consequence, entered: what, limit, working, ...more });
  if (step.kind === 'stages') return stages(step, e, bad);
  if (!e.good) {
    switch (step.kind) {
      case 'hold': {
        const limit = `at least ${seconds(step.at_least)}`;
        return bad('let go', limit, `it did not hold; ${limit} is asked`);
      }
      case 'trip': return bad('never sounded', `at least ${step.low.words}`, 'the alarm did not sound at all');
      case 'reading':
      case 'pair': return bad('cannot be read', 'a gauge that can be read', 'a gauge cannot be read');
      default: return bad('not good', step.right || step.title, `${step.title}: not good`);
    }
  }
  // Good in a word.
  if (Object.keys(e).length === 1) return null;
  switch (step.kind) {
    case 'reading': return reading(limits, step, e.at, bad);
    case 'pair': return pair(limits, step, e, bad);
    case 'drop': return fall(limits, step, e, bad);
    case 'trip': return trip(limits, step, e.at, bad);
    case 'hold': {
      const limit = `at least ${seconds(step.at_least)}`;
      if (e.held >= step.at_least) return null;
      return bad(seconds(e.held), limit, `it held ${seconds(e.held)}; ${limit} is asked`);
    }
    default: return null;
  }
}

function reading(limits, step, p, bad) {
  const say = (wall, how, must) => {
    const side = against(p.amount, wall);
    const by = words(limits, apart(p.amount, exact(wall.at)), NONE);
    const off = side ? `${by} ${side < 0 ? 'below' : 'over'}` : 'exactly';
    return bad(entered(p), `${how} ${wall.words}`, `${readWords(limits, p)}: ${off} the ${wall.words}${share(wall)} ${must}`);
  };
  const { above, at_least: least, at_most: most } = step;
  if (above && against(p.amount, above) <= 0) return say(above, 'more than', 'that it must be above');
  if (least && against(p.amount, least) < 0) return say(least, 'at least', 'that it must reach');
  if (most && against(p.amount, most) > 0) return say(most, 'at most', 'that it must not pass');
  return null;
}

function pair(limits, { largest, all }, { a, b }, bad) {
  const between = apart(a.amount, b.amount);
  if (against(between, largest) <= 0) return null;
  let working = `${words(limits, between, exact(largest.at))} apart; limit ${largest.words}`;
  if (all.length > 1) working += `, the stricter of ${all.join(' and ')}`;
  else if (largest.share) working += `, ${largest.share}`;
  if (a.unit !== b.unit || a.unit !== limits.unit) {
    working += ` (cylinder ${readWords(limits, a)}, remote ${readWords(limits, b)})`;
  }
  return bad(`cylinder ${entered(a)}, remote ${entered(b)}`, largest.words, working);
}

function fall(limits, { largest, within }, { a, b, s }, bad) {
  const limit = `at most ${largest.words} in ${seconds(within)}`;
  const say = (working) => bad(`${entered(a)} to ${entered(b)} in ${seconds(s)}`, limit, working);
  const fell = minus(a.amount, b.amount);
  if (against(fell, largest) > 0) {
    return say(`fell ${words(limits, fell, exact(largest.at))} in ${seconds(s)}; ${limit} is allowed`);
  }
  return s < within ? say(`watched for ${seconds(s)}; ${seconds(within)} is asked`) : null;
}

function stages(step, { good, n, first, full }, bad) {
  const [what, wrong, early] = [[], [], []];
  if (given(n)) what.push(`${n} stages`);
  if (given(first)) what.push(`first at ${seconds(first)}`);
  if (given(full)) what.push(`full alarm at ${seconds(full)}`);
  const came = (name, t, asked) => `the ${name} came at ${seconds(t)}${asked}`;
  if (given(n) && n !== step.count) wrong.push(`${n} stages came; ${step.count} belong to it`);
  if (late(first, step.first_by)) wrong.push(came('first', first, `; by ${seconds(step.first_by)} is asked`));
  if (late(step.first_from, first)) early.push(came('first', first, `; not before ${seconds(step.first_from)} is asked`));
  if (late(full, step.full_by)) wrong.push(came('full alarm', full, `; by ${seconds(step.full_by)} is asked`));
  if (given(first) && given(full) && full <= first) {
    wrong.push(came('full alarm', full, `, not after the first stage at ${seconds(first)}`));
  }
  if (!good) {
    what.push('not good');
    if (!wrong.length) wrong.push(`${step.title}: not good`);
  }
  if (!wrong.length && !early.length) return null;
  return bad(what.join(', '), step.limit, [...wrong, ...early].join('; '), wrong.length ? {} : { consequence: 'remark' });
}

function trip(limits, { low, remark, out, repeat, alarm, limit }, p, bad) {
  const say = (wall, side, consequence, again) => {
    const by = words(limits, apart(p.amount, exact(wall.at)), NONE);
    const working = `started at ${readWords(limits, p)}: ${by} ${side} ${wall.words}${share(wall)}; ${alarm}`;
    return bad(entered(p), limit, working, { consequence, repeat: again });
  };
  if (against(p.amount, low) < 0) {
    return say(low, 'below', 'out_of_service', compare(apart(exact(low.at), p.amount), exact(repeat)) <= 0);
  }
  if (against(p.amount, out) > 0) return say(out, 'above', 'out_of_service');
  return remark && against(p.amount, remark) > 0 ? say(remark, 'above', 'remark') : null;
}

// ---------------------------------------------------------------- a step, and the whole check

// Whether finding and answer may be about the same thing: only another number of a thing that can
// be exchanged says that they are not.
const maybeSame = (step, f, answer) => !(step.separate && given(f.item) && given(answer.item) && f.item !== answer.item);

function judgeTries(limits, step, tries) {
  const findings = [];
  let satisfied = false;
  tries.forEach(({ answer, entry }, i) => {
    const same = findings.filter((f) => maybeSame(step, f, answer));
    // An earlier finding that this answer could not settle, had it been good.
    const open = same.some((f) => f.consequence === 'out_of_service' && !f.repeat);
    const outcome = weigh(limits, step, entry);
    if (!outcome) {
      // A thing that failed for good in this check does not become good by trying again.
      satisfied = !open;
      return;
    }
    let { consequence, working } = outcome;
    const failed = 1 + same.filter((f) => f.consequence !== 'remark').length;
    if (consequence === 'put_right' && failed >= step.tries) {
      consequence = 'out_of_service';
      working += '; it could not be put right';
    }
    satisfied = consequence === 'remark' && !open;
    const finding = { step: step.id, title: step.title, try: attempt(answer), subject: step.subject, consequence,
      settled: consequence === 'remark', entered: outcome.entered, limit: outcome.limit, working, basis: step.basis };
    if (answer.item !== undefined) finding.item = answer.item;
    // The allowance is for the first try only.
    if (outcome.repeat && i === 0) finding.repeat = true;
    findings.push(finding);
  });
  for (const f of findings) {
    f.settled ||= satisfied;
    if (f.repeat && tries.length > 1) {
      // The slower repeat has been made: it decides.
      delete f.repeat;
      if (satisfied) f.consequence = 'remark';
    } else if (f.repeat) {
      f.working += '; within one gauge division: one slower repeat is allowed';
    }
  }
  const open = findings.filter((f) => !f.settled && f.consequence !== 'remark').map((f) => f.consequence);
  return { satisfied, findings, verdict: worst(['in_service', ...open]) };
}

const worst = (verdicts) => WORST_FIRST.find((v) => verdicts.includes(v));

function read(limits, answers) {
  const steps = new Map(limits.steps.map((step) => [step.id, { step, tries: [] }]));
  const [notAsked, problems] = [[], []];
  for (const answer of answers) {
    const at = steps.get(answer.step);
    const wrong = (say) => problems.push({ step: answer.step, attempt: attempt(answer), field: '', say });
    if (!at) {
      if (limits.not_asked.includes(answer.step)) notAsked.push(answer.step);
      else wrong('there is no such step in this rule table');
      continue;
    }
    const entry = readEntry(limits, at.step, answer, problems);
    if (!entry) continue;
    if (at.tries.some((t) => attempt(t.answer) === attempt(answer))) wrong('this attempt is answered twice');
    else at.tries.push({ answer, entry });
  }
  for (const { tries } of steps.values()) tries.sort((a, b) => attempt(a.answer) - attempt(b.answer));
  return { steps, notAsked, problems };
}

/** Judges the answers to one step: its findings, its verdict, whether it is satisfied, and how many could be read. */
export function judgeStep(limits, id, answers) {
  const { steps, problems } = read(limits, answers.filter((a) => a.step === id));
  const { step, tries } = steps.get(id);
  return { ...judgeTries(limits, step, tries), tries: tries.length, problems };
}

/** Judges a check: what can be read is judged, and an answer that cannot be read counts as missing. */
export function judge(limits, answers) {
  const { steps, notAsked, problems } = read(limits, answers);
  const all = [...steps.values()];
  const judged = all.filter((s) => s.tries.length).map((s) => judgeTries(limits, s.step, s.tries));
  const missing = all.filter((s) => !s.tries.length).map((s) => s.step.id);
  const verdicts = ['in_service', ...judged.map((j) => j.verdict), ...(missing.length ? ['incomplete'] : [])];
  const out = { verdict: worst(verdicts), findings: judged.flatMap((j) => j.findings), missing };
  if (notAsked.length) out.not_asked = notAsked;
  if (problems.length) out.problems = problems;
  return out;
}
