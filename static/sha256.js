// SHA-256 of a text or of bytes, at once. The browser's own works only later, when a transaction of the store
// is over, and not at all without a secure connection. FIPS 180-4; held against Node's in a test.

const primes = [];
for (let n = 2; primes.length < 64; n += 1) if (primes.every((p) => n % p)) primes.push(n);
const fraction = (x) => ((x - Math.floor(x)) * 2 ** 32) | 0;
const K = primes.map((p) => fraction(Math.cbrt(p)));
const START = primes.slice(0, 8).map((p) => fraction(Math.sqrt(p)));

const turn = (x, by) => (x >>> by) | (x << (32 - by));

/** The hash, in lower-case hexadecimal digits. */
export function sha256(what) {
  const bytes = typeof what === 'string' ? new TextEncoder().encode(what) : what;
  const padded = new Uint8Array((((bytes.length + 8) >> 6) + 1) * 64);
  padded.set(bytes);
  padded[bytes.length] = 0x80;
  const view = new DataView(padded.buffer);
  view.setUint32(padded.length - 8, Math.floor(bytes.length / 2 ** 29));
  view.setUint32(padded.length - 4, bytes.length * 8);

  const hash = [...START];
  const w = new Int32Array(64);
  for (let block = 0; block < padded.length; block += 64) {
    for (let i = 0; i < 16; i += 1) w[i] = view.getInt32(block + i * 4);
    for (let i = 16; i < 64; i += 1) {
      const [x, y] = [w[i - 15], w[i - 2]];
      w[i] = w[i - 16] + (turn(x, 7) ^ turn(x, 18) ^ (x >>> 3)) + w[i - 7] + (turn(y, 17) ^ turn(y, 19) ^ (y >>> 10));
    }
    let [a, b, c, d, e, f, g, h] = hash;
    for (let i = 0; i < 64; i += 1) {
      const one = (h + (turn(e, 6) ^ turn(e, 11) ^ turn(e, 25)) + ((e & f) ^ (~e & g)) + K[i] + w[i]) | 0;
      const two = ((turn(a, 2) ^ turn(a, 13) ^ turn(a, 22)) + ((a & b) ^ (a & c) ^ (b & c))) | 0;
      [h, g, f, e, d, c, b, a] = [g, f, e, (d + one) | 0, c, b, a, (one + two) | 0];
    }
    [a, b, c, d, e, f, g, h].forEach((x, i) => { hash[i] = (hash[i] + x) | 0; });
  }
  return hash.map((x) => (x >>> 0).toString(16).padStart(8, '0')).join('');
}
