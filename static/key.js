// The key of an enrolled tablet: made here, never to leave here, and with it signed what this tablet
// hands in. ECDSA with P-256 and SHA-256 (FIPS 186-5), through WebCrypto, which browsers give only to
// pages that came over a secure connection.
import { sha256 } from './sha256.js';
import { note, recall } from './store.js';

const CURVE = { name: 'ECDSA', namedCurve: 'P-256' };
const SIGNING = { name: 'ECDSA', hash: 'SHA-256' };

/** What is signed of a record: the same text as `signed_text` at the server. */
export const signedText = (tablet, digest) => `airmuster record 1\n${tablet}\n${digest}`;

const hex = (bytes) => Array.from(bytes, (b) => b.toString(16).padStart(2, '0')).join('');
const base64url = (bytes) => btoa(String.fromCharCode(...bytes)).replaceAll('+', '-').replaceAll('/', '_').replace(/=+$/, '');
const sign = async (key, text) => base64url(new Uint8Array(await crypto.subtle.sign(SIGNING, key, new TextEncoder().encode(text))));

/** Whether this browser can make a key here. */
export const canSign = () => Boolean(globalThis.crypto?.subtle);

/** Makes a key and keeps it under its public half; answers that half, and a signature to show that the other one is here. */
export async function makeKey(proofText) {
  const pair = await crypto.subtle.generateKey(CURVE, false, ['sign', 'verify']);
  const point = hex(new Uint8Array(await crypto.subtle.exportKey('raw', pair.publicKey)));
  await note(`key ${point}`, pair.privateKey);
  return { point, proof: await sign(pair.privateKey, proofText) };
}

/**
 * Takes down which tablet this is, as a page fresh from the server says it. Keys of names that it had
 * before stay: what was written under them is signed with them. Answers whether its key is here.
 */
export async function isTablet({ id, point }) {
  await note('enrolled', { id, point });
  if (!point || await recall(`key of ${id}`)) return true;
  const key = await recall(`key ${point}`);
  if (key) await note(`key of ${id}`, key);
  return Boolean(key);
}

/** The name of this tablet in records; none before it was enrolled. */
export const enrolledAs = async () => (await recall('enrolled').catch(() => null))?.id;

/** What the key of the tablet that wrote it says of a record; nothing where there is no such key. */
export async function signatureOf(text) {
  const { tablet } = JSON.parse(text);
  const key = canSign() && await recall(`key of ${tablet}`);
  return key ? sign(key, signedText(tablet, sha256(text))) : undefined;
}
