// A picture to be photographed in tests: a PNG by the specification (W3C, third edition, 5 and 11).
import { crc32, deflateSync } from 'node:zlib';

function chunk(kind, data) {
  const body = Buffer.concat([Buffer.from(kind), data]);
  const length = Buffer.alloc(4);
  length.writeUInt32BE(data.length);
  const sum = Buffer.alloc(4);
  sum.writeUInt32BE(crc32(body));
  return Buffer.concat([length, body, sum]);
}

/** A PNG, light on top and dark below, as large as a camera's. */
export function picture(width, height) {
  const head = Buffer.alloc(13);
  head.writeUInt32BE(width, 0);
  head.writeUInt32BE(height, 4);
  head.set([8, 0, 0, 0, 0], 8);
  const rows = Buffer.alloc((width + 1) * height);
  for (let y = 0; y < height; y += 1) rows.fill(Math.round(255 * (1 - y / height)), y * (width + 1) + 1, (y + 1) * (width + 1));
  return Buffer.concat([
    Buffer.from('89504e470d0a1a0a', 'hex'), chunk('IHDR', head), chunk('IDAT', deflateSync(rows)), chunk('IEND', Buffer.alloc(0)),
  ]);
}
