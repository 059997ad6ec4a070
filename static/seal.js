// Seals a PIN to the server, with the hash of the record that it signs: what stays on this tablet
// can be opened nowhere but there. HPKE (RFC 9180) in base mode through WebCrypto: DHKEM(P-256,
// HKDF-SHA256), HKDF-SHA256, AES-128-GCM. Tests hold it to the RFC's own examples.

const VERSION = 1;
/** The longest PIN; every seal is as long as one with such a PIN. */
export const LONGEST = 64;

const text = (s) => new TextEncoder().encode(s);
const join = (...parts) => {
  const all = new Uint8Array(parts.reduce((sum, { length }) => sum + length, 0));
  let at = 0;
  for (const part of parts) {
    all.set(part, at);
    at += part.length;
  }
  return all;
};
const CURVE = { name: 'ECDH', namedCurve: 'P-256' };
const HASH = { name: 'HMAC', hash: 'SHA-256' };
const NOTHING = new Uint8Array(0);
// HMAC fills a short key up with zeros, so this is the empty one, which WebCrypto does not take.
const EMPTY_KEY = new Uint8Array(32);
// RFC 9180, 4.1 and 5.1: which KEM, KDF and AEAD.
const KEM = join(text('KEM'), [0x00, 0x10]);
const SUITE = join(text('HPKE'), [0x00, 0x10, 0x00, 0x01, 0x00, 0x01]);

async function hmac(key, data) {
  const { subtle } = crypto;
  return new Uint8Array(await subtle.sign('HMAC', await subtle.importKey('raw', key, HASH, false, ['sign']), data));
}

// RFC 9180, 4: what is derived is never longer than one hash here, so that one round of HKDF does.
const extract = (suite, salt, label, ikm) => hmac(salt, join(text('HPKE-v1'), suite, text(label), ikm));
const expand = async (suite, prk, label, info, length) => (
  await hmac(prk, join([length >> 8, length & 255], text('HPKE-v1'), suite, text(label), info, [1]))).slice(0, length);

const newPair = () => crypto.subtle.generateKey(CURVE, false, ['deriveBits']);

/**
 * `enc ‖ ciphertext` of this text for the owner of the public key, 65 bytes. The pair is the
 * sender's, new for each.
 */
export async function hpkeSeal(recipient, info, aad, plain, pair) {
  const { subtle } = crypto;
  const { privateKey, publicKey } = pair ?? await newPair();
  const to = await subtle.importKey('raw', recipient, CURVE, false, []);
  const enc = new Uint8Array(await subtle.exportKey('raw', publicKey));
  const dh = new Uint8Array(await subtle.deriveBits({ name: 'ECDH', public: to }, privateKey, 256));
  const eae = await extract(KEM, EMPTY_KEY, 'eae_prk', dh);
  const shared = await expand(KEM, eae, 'shared_secret', join(enc, recipient), 32);

  const context = join([0], await extract(SUITE, EMPTY_KEY, 'psk_id_hash', NOTHING), await extract(SUITE, EMPTY_KEY, 'info_hash', info));
  const secret = await extract(SUITE, shared, 'secret', NOTHING);
  const key = await subtle.importKey('raw', await expand(SUITE, secret, 'key', context, 16), 'AES-GCM', false, ['encrypt']);
  const iv = await expand(SUITE, secret, 'base_nonce', context, 12);
  return join(enc, new Uint8Array(await subtle.encrypt({ name: 'AES-GCM', iv, additionalData: aad }, key, plain)));
}

const fromBase64 = (s) => Uint8Array.from(atob(s.replaceAll('-', '+').replaceAll('_', '/')), (c) => c.charCodeAt(0));
const toBase64 = (bytes) => btoa(String.fromCharCode(...bytes)).replaceAll('+', '-').replaceAll('/', '_').replaceAll('=', '');
const fromHex = (s) => Uint8Array.from(s.match(/../g), (byte) => parseInt(byte, 16));

/** Whether this browser can seal; without a secure connection it cannot. */
export const canSeal = () => Boolean(globalThis.crypto?.subtle);

/**
 * The PIN sealed to the server's key, `{ name, public }` as the server lists it, for the record with
 * this hash, written on this tablet.
 */
export async function sealPin(to, pin, digest, tablet) {
  const given = text(pin);
  if (given.length > LONGEST) throw new RangeError('a PIN is not that long');
  const plain = new Uint8Array(32 + 1 + LONGEST);
  const record = fromHex(digest);
  plain.set(join(record, [given.length], given));
  const sealed = await hpkeSeal(fromBase64(to.public), join(text('airmuster signature 1'), [0], text(tablet)), record, plain);
  return toBase64(join([VERSION], fromBase64(to.name), sealed));
}
