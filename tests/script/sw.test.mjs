// Which page the worker hands out for the check of a unit, with no network.
import assert from 'node:assert/strict';
import { readFileSync } from 'node:fs';
import test from 'node:test';
import vm from 'node:vm';

const LIST = {
  build: 'b', pages: ['/units/101/check', '/units/102/check'],
  units: [{ number: '101', profile: 'p' }, { number: '102', profile: 'p' }, { number: '103', profile: 'p' }],
};
const form = (purpose) => `<form class="check"><input type="hidden" name="purpose" value="${purpose}">`;
const KEPT = {
  '/offline/list': JSON.stringify(LIST), '/forms/p': form('shift-start'), '/forms/p/after-use': form('after-use'),
  '/units/101/check': form('shift-start'), '/units/102/check': '<h1>Unit 102 is not checked</h1>',
};

const cache = { match: async (path) => KEPT[path] && new Response(KEPT[path]) };
const worker = vm.createContext({
  URL, Response, caches: { open: async () => cache }, self: { addEventListener() {}, location: { origin: 'http://a' } },
});
vm.runInContext(readFileSync(new URL('../../static/sw.js', import.meta.url), 'utf8'), worker);
const kept = async (path) => (await worker.keptFor(new URL(path, 'http://a')))?.text();

test('a unit that is held or retired keeps the page that says so, whatever check is asked for', async () => {
  for (const ask of ['', '?purpose=after-use', '?continues=1']) {
    assert.equal(await kept(`/units/102/check${ask}`), KEPT['/units/102/check'], ask);
  }
});

test('every other unit has its own form, the one after use of its kind, or the one of its kind', async () => {
  assert.equal(await kept('/units/101/check'), KEPT['/units/101/check']);
  assert.equal(await kept('/units/101/check?purpose=after-use'), KEPT['/forms/p/after-use']);
  assert.equal(await kept('/units/103/check'), KEPT['/forms/p']);
  assert.equal(await kept('/units/103/check?purpose=after-use'), KEPT['/forms/p/after-use']);
  assert.equal(await kept('/units/101/check?purpose=proving'), undefined);
});
