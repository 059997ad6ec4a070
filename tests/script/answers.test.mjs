// The check form's script where it needs no page. Limits come from the judge's own vectors.
import assert from 'node:assert/strict';
import { readFileSync } from 'node:fs';
import test from 'node:test';
import {
  answerWords, answersIn, checkBody, failing, raisedBy, stepView, strip, worstState,
} from '../../static/answers.js';

const forms = JSON.parse(readFileSync(new URL('../vectors/forms.json', import.meta.url), 'utf8'));
const limits = (name) => forms.find((f) => f.form === name).limits;
const psi = limits('shipped us-5500-third shift-start');
const bar = limits('shipped en-300-bar shift-start');
const data = {
  limits: psi, unit: '117', profile: 'us-5500-third', rules: 'a'.repeat(64), engine: 1, purpose: 'shift-start',
  run: '0190a8c0-0000-7000-8000-000000000001', started: 5, seen: ['check_due/unit:117'], tablet: 'tablet-4', client: 'a test',
};
const fields = (object) => new Map(Object.entries(object));
const view = (of, id, object) => stepView(of, of.steps.find((s) => s.id === id), answersIn({ ...data, limits: of }, fields(object)));

test('a pressure goes with the unit beside it, a time with seconds, and what is empty is left out', () => {
  const answers = answersIn({ ...data, limits: bar }, fields({
    'a.cylinder-pressure.1.at': ' 4300 ', 'a.cylinder-pressure.1.at_unit': 'psi',
    'a.gauge-agreement.1.cylinder': '', 'a.gauge-agreement.1.cylinder_unit': 'bar',
    'a.high-pressure-leak.1.start': '290', 'a.high-pressure-leak.1.seconds': '60',
    'a.motion-alarm-stages.1.count': '3', 'a.motion-alarm-stages.1.first': '19.8',
  }));
  assert.deepEqual(answers.map((a) => [a.step, a.values]), [
    ['cylinder-pressure', { at: '4300 psi' }],
    ['motion-alarm-stages', { count: '3', first: '19.8 s' }],
    ['high-pressure-leak', { start: '290 bar', seconds: '60 s' }],
  ]);
});

test('answers come in the order of the form, tries in order, and a note alone is an answer', () => {
  const answers = answersIn(data, fields({
    'a.low-air-alarm.2.at': '1820', 'a.low-air-alarm.1.at': '1800', 'a.stowed.1.note': ' strap is new ',
    'a.unit-identity.1.good': 'yes', 'a.no-such-step.1.good': 'no',
  }));
  assert.deepEqual(answers.map((a) => [a.step, a.try, a.note]),
    [['unit-identity', 1, undefined], ['low-air-alarm', 1, undefined], ['low-air-alarm', 2, undefined], ['stowed', 1, 'strap is new']]);
});

test('each answer about a facepiece names the one that is here, and another one from the try on that names it', () => {
  const items = (more, registered) => answersIn({ ...data, items: { facepiece: registered, cylinder: null } }, fields({
    'a.facepiece-vacuum.1.held': '3', 'a.facepiece-vacuum.2.held': '10', 'a.bypass.1.good': 'yes', 'a.bypass.1.item': 'B-1', ...more,
  })).map((a) => a.item).slice(-3);
  assert.deepEqual(items({}), [undefined, undefined, undefined]);
  assert.deepEqual(items({}, 'F-1'), ['F-1', 'F-1', undefined]);
  const read = { 'a.facepiece-identity.1.good': 'no', 'a.facepiece-identity.1.item': ' F-204 ' };
  assert.deepEqual(items(read, 'F-1'), ['F-204', 'F-204', undefined]);
  assert.deepEqual(items({ ...read, 'a.facepiece-vacuum.2.item': 'F-207' }, 'F-1'), ['F-204', 'F-207', undefined]);
});

test('a unit typed with the number is the one that was meant', () => {
  const [{ values }] = answersIn(data, fields({ 'a.cylinder-pressure.1.at': '300 bar', 'a.cylinder-pressure.1.at_unit': 'psi' }));
  assert.deepEqual(values, { at: '300 bar' });
});

test('the verdict stands beside each try, and a step that a second facepiece passes is done', () => {
  const first = { 'a.facepiece-identity.1.good': 'yes', 'a.facepiece-identity.1.item': 'F-204', 'a.facepiece-vacuum.1.held': '3' };
  const failed = view(psi, 'facepiece-vacuum', first);
  assert.equal(failed.state, 'out');
  assert.equal(failed.tries[0].words, 'Facepiece F-204 out of service: it held 3 s; at least 10 s is asked.');
  const passed = view(psi, 'facepiece-vacuum', { ...first, 'a.facepiece-vacuum.2.held': '10', 'a.facepiece-vacuum.2.item': 'F-207' });
  assert.equal(passed.state, 'remark');
  assert.deepEqual(passed.tries.map((t) => [t.state, t.words]).at(-1), ['good', 'Good.']);
  assert.equal(passed.findings.length, 1);
});

test('what cannot be read is not a finding and says what to do at its field', () => {
  const { state, tries } = view(psi, 'gauge-agreement', { 'a.gauge-agreement.1.cylinder': '5400' });
  assert.equal(state, 'missing');
  assert.deepEqual(tries, [{ try: 1, state: 'missing', problem: 'remote', words: 'Read this gauge too; two gauges are compared.' }]);
});

test('a trip point within one gauge division asks for a slower repeat and is not yet written down', () => {
  const near = view(psi, 'low-air-alarm', { 'a.low-air-alarm.1.at': '1800' });
  assert.match(near.tries[0].words, /^Once more, slower\. Started at 1,800 psi: 15 psi below 1,815 psi/);
  assert.deepEqual(failing(near.findings), []);
  const twice = view(psi, 'low-air-alarm', { 'a.low-air-alarm.1.at': '1800', 'a.low-air-alarm.2.at': '1800' });
  assert.deepEqual(failing(twice.findings), ['low-air-alarm/1//1800 psi', 'low-air-alarm/2//1800 psi']);
});

test('a tap needs no words, a remark is a finding, and a put-right answer is nothing to write down at once', () => {
  assert.deepEqual(view(psi, 'bypass', { 'a.bypass.1.good': 'yes' }).tries, [{ try: 1, state: 'good', words: '' }]);
  assert.equal(view(psi, 'accessories', { 'a.accessories.1.good': 'no' }).state, 'remark');
  const low = view(psi, 'cylinder-pressure', { 'a.cylinder-pressure.1.at': '4900' });
  assert.equal(low.state, 'put-right');
  assert.deepEqual(failing(low.findings), []);
});

test('another failing answer at the same try is another one to write down', () => {
  const names = (at) => failing(view(psi, 'gauge-agreement', {
    'a.gauge-agreement.1.cylinder': '5400', 'a.gauge-agreement.1.remote': at,
  }).findings);
  assert.equal(names('4900').length, 1);
  assert.notDeepEqual(names('4900'), names('4890'));
  assert.deepEqual(names('4950'), []);
});

test('a check says everything answered so far, without what cannot be the number of a thing', () => {
  const body = checkBody(data, fields({
    'a.facepiece-ready.1.good': 'yes', 'a.facepiece-ready.1.item': 'F-204', 'a.facepiece-condition.1.good': 'yes',
    'a.facepiece-condition.1.item': 'no number!', 'a.bypass.1.good': 'no', 'a.bypass.1.note': 'hissed',
  }), 'broken_off');
  assert.deepEqual(body, {
    unit: '117', profile: 'us-5500-third', rules: 'a'.repeat(64), engine: 1, purpose: 'shift-start', outcome: 'broken_off',
    run: data.run, started: 5, seen: ['check_due/unit:117'], facepiece: 'F-204',
    answers: [
      { step: 'facepiece-condition', try: 1, values: { good: true } },
      { step: 'facepiece-ready', try: 1, values: { good: true }, item: 'F-204' },
      { step: 'bypass', try: 1, values: { good: false }, note: 'hissed' },
    ],
  });
});

test('what a later check must have seen to settle it has the name that the server gives it', () => {
  const found = (object) => stepView(psi, psi.steps.find((s) => s.id === Object.keys(object)[0].split('.')[1]), answersIn(data, fields(object))).findings;
  const digest = 'c'.repeat(64);
  assert.deepEqual(raisedBy(found({ 'a.cylinder-pressure.1.at': '4900', 'a.cylinder-pressure.1.item': 'C-3' }), digest),
    [`put-right/${digest}/cylinder-pressure/1/C-3`]);
  assert.deepEqual(raisedBy(found({ 'a.facepiece-vacuum.1.held': '3', 'a.facepiece-vacuum.1.item': 'F-1' }), digest),
    [`another/${digest}/facepiece-vacuum/1/F-1`]);
  assert.deepEqual(raisedBy(found({ 'a.bypass.1.good': 'no' }), digest), [], 'only a technician settles that');
  assert.deepEqual(raisedBy(found({ 'a.accessories.1.good': 'no' }), digest), []);
});

test('an answer is said back as it was entered', () => {
  const said = (of, object) => answersIn({ ...data, limits: of }, fields(object)).map((a) => answerWords(of.steps.find((s) => s.id === a.step), a));
  assert.deepEqual(said(psi, {
    'a.gauge-agreement.1.cylinder': '5400', 'a.gauge-agreement.1.remote': '4950.5', 'a.bypass.1.good': 'no', 'a.stowed.1.note': 'later',
    'a.facepiece-vacuum.1.held': '3', 'a.facepiece-vacuum.1.item': 'F-1', 'a.motion-alarm-stages.1.count': '3', 'a.motion-alarm-stages.1.full': '30',
  }).sort(), ['3 s (facepiece F-1)', '3 stages, full alarm at 30 s', '5,400 psi and 4,950.5 psi', 'not good', undefined]);
  assert.deepEqual(said(bar, { 'a.high-pressure-leak.1.start': '290', 'a.high-pressure-leak.1.end': '285', 'a.high-pressure-leak.1.seconds': '60' }),
    ['290 bar to 285 bar in 60 s']);
});

test('the strip is drawn as the server draws it', () => {
  const of = { rated: 4500, ratedAt: 94, limit: 450 };
  const { fill, line, room } = strip(of, 2250, 9000);
  assert.equal(fill.toFixed(2), '47.00');
  assert.equal(line, 100);
  assert.deepEqual([room.from.toFixed(2), room.width.toFixed(2)], ['37.60', '18.80']);
  assert.deepEqual(strip(of, null, Number.NaN), { fill: null, line: null, room: null });
});

test('a group is as bad as its worst step and done only when all are', () => {
  assert.equal(worstState(['good', 'missing', 'put-right']), 'put-right');
  assert.equal(worstState(['good', 'remark', 'missing']), 'missing');
  assert.equal(worstState(['good', 'remark']), 'remark');
});
