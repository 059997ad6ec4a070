// Prints the record that the tablet's script writes at an answer that takes a unit out of service.
import { readFileSync } from 'node:fs';
import { checkBody } from '../../static/answers.js';
import { recordText } from '../../static/outbox.js';

const forms = JSON.parse(readFileSync(new URL('forms.json', import.meta.url), 'utf8'));
const { limits } = forms.find((f) => f.form === 'shipped us-5500-third shift-start');
const data = {
  limits, unit: '117', profile: 'us-5500-third', rules: process.argv[2], engine: 1, purpose: 'shift-start',
  run: '0190a8c0-0000-7000-8000-000000000001', started: 1_700_000_000_000, seen: ['check_due/unit:117'], tablet: 'tablet-4', client: 'a test',
};
const fields = new Map(Object.entries({
  'a.facepiece-identity.1.good': 'yes', 'a.facepiece-identity.1.item': 'F-204', 'a.cylinder-identity.1.good': 'no', 'a.cylinder-identity.1.item': 'not a number',
  'a.facepiece-vacuum.1.held': '3.2', 'a.gauge-agreement.1.cylinder': '5400', 'a.gauge-agreement.1.cylinder_unit': 'psi',
  'a.gauge-agreement.1.remote': '338', 'a.gauge-agreement.1.remote_unit': 'bar', 'a.gauge-agreement.1.note': 'hissed',
}));
process.stdout.write(recordText({
  id: '0190a8c0-0000-7000-8000-000000000002', tablet: data.tablet, at: 1_700_000_100_000, client: data.client,
  body: checkBody(data, fields, 'broken_off'),
}, { incarnation: '0190a8c0-0000-7000-8000-000000000003', number: 1, before: null }, -40));
