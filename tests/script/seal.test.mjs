// The tablet's side of a sealed signature, against RFC 9180's own example and for what must not show.
import assert from 'node:assert/strict';
import test from 'node:test';
import { LONGEST, hpkeSeal, sealPin } from '../../static/seal.js';

const hex = (s) => Uint8Array.from(Buffer.from(s, 'hex'));
const url = (bytes) => Buffer.from(bytes).toString('base64url');

// RFC 9180, A.3.1: DHKEM(P-256, HKDF-SHA256), HKDF-SHA256, AES-128-GCM, base mode, sequence number 0.
const RFC = {
  info: '4f6465206f6e2061204772656369616e2055726e',
  skEm: '4995788ef4b9d6132b249ce59a77281493eb39af373d236a1fe415cb0c2d7beb',
  pkEm: '04a92719c6195d5085104f469a8b9814d5838ff72b60501e2c4466e5e67b325ac98536d7b61a1af4b78e5b7f951c0900be863c403ce65c9bfcb9382657222d18c4',
  pkRm: '04fe8c19ce0905191ebc298a9245792531f26f0cece2460639e8bc39cb7f706a826a779b4cf969b8a0e539c7f62fb3d30ad6aa8f80e30f1d128aafd68a2ce72ea0',
  pt: '4265617574792069732074727574682c20747275746820626561757479',
  aad: '436f756e742d30',
  ct: '5ad590bb8baa577f8619db35a36311226a896e7342a6d836d8b7bcd2f20b6c7f9076ac232e3ab2523f39513434',
};

async function pairOf(secret, point) {
  const jwk = { kty: 'EC', crv: 'P-256', x: url(hex(point).slice(1, 33)), y: url(hex(point).slice(33)) };
  const curve = { name: 'ECDH', namedCurve: 'P-256' };
  return {
    privateKey: await crypto.subtle.importKey('jwk', { ...jwk, d: url(hex(secret)) }, curve, false, ['deriveBits']),
    publicKey: await crypto.subtle.importKey('jwk', jwk, curve, true, []),
  };
}

test('the example of RFC 9180, A.3.1, comes out byte for byte', async () => {
  const pair = await pairOf(RFC.skEm, RFC.pkEm);
  const sealed = await hpkeSeal(hex(RFC.pkRm), hex(RFC.info), hex(RFC.aad), hex(RFC.pt), pair);
  assert.equal(Buffer.from(sealed).toString('hex'), RFC.pkEm + RFC.ct);
});

const TO = { name: url(new Uint8Array(8)), public: url(hex(RFC.pkRm)) };
const DIGEST = 'ab'.repeat(32);

test('two seals of one PIN have nothing in common but the version and the key’s name', async () => {
  const [one, other] = [await sealPin(TO, '246810', DIGEST, 't-1'), await sealPin(TO, '246810', DIGEST, 't-1')]
    .map((seal) => Buffer.from(seal, 'base64url'));
  assert.deepEqual(one.subarray(0, 10), other.subarray(0, 10));
  const same = one.subarray(10).filter((byte, i) => byte === other[10 + i]).length;
  assert.ok(same < 16, `${same} of ${one.length - 10} bytes are the same`);
});

test('how long a PIN is does not show', async () => {
  const lengths = await Promise.all(['123456', '1'.repeat(LONGEST)].map(async (pin) => (await sealPin(TO, pin, DIGEST, 't-1')).length));
  assert.equal(lengths[0], lengths[1]);
  await assert.rejects(sealPin(TO, '1'.repeat(LONGEST + 1), DIGEST, 't-1'), RangeError);
});
