// What leaves say, out of its hiding: a stream of SHAKE-256 (FIPS 202) laid over it.
"use strict";
const shake256 = (data, length) => {
  const RATE = 136, WORD = (1n << 64n) - 1n, a = new Array(25).fill(0n);
  const turned = (x, by) => (by ? ((x << BigInt(by)) | (x >> BigInt(64 - by))) & WORD : x);
  const permute = () => {
    let lfsr = 1;
    for (let round = 0; round < 24; round++) {
      const c = [0, 1, 2, 3, 4].map((x) => a[x] ^ a[x + 5] ^ a[x + 10] ^ a[x + 15] ^ a[x + 20]);
      for (let x = 0; x < 5; x++) {
        const d = c[(x + 4) % 5] ^ turned(c[(x + 1) % 5], 1);
        for (let y = 0; y < 25; y += 5) a[x + y] ^= d;
      }
      let x = 1, y = 0, held = a[1];
      for (let t = 0; t < 24; t++) {
        [x, y] = [y, (2 * x + 3 * y) % 5];
        const next = a[x + 5 * y];
        a[x + 5 * y] = turned(held, (((t + 1) * (t + 2)) / 2) % 64);
        held = next;
      }
      for (let row = 0; row < 25; row += 5) {
        const r = a.slice(row, row + 5);
        for (let k = 0; k < 5; k++) a[row + k] = r[k] ^ (~r[(k + 1) % 5] & WORD & r[(k + 2) % 5]);
      }
      for (let j = 0; j < 7; j++) {
        lfsr = ((lfsr << 1) ^ ((lfsr >> 7) * 0x71)) % 256;
        if (lfsr & 2) a[0] ^= 1n << ((1n << BigInt(j)) - 1n);
      }
    }
  };
  const put = (at, byte) => { a[at >> 3] ^= BigInt(byte) << BigInt(8 * (at % 8)); };
  let at = 0;
  for (const byte of data) {
    put(at, byte);
    if (++at === RATE) { permute(); at = 0; }
  }
  put(at, 0x1f);
  put(RATE - 1, 0x80);
  const found = new Uint8Array(length);
  for (let k = 0; k < length; k++) {
    if (k % RATE === 0) permute();
    found[k] = Number((a[(k % RATE) >> 3] >> BigInt(8 * (k % 8))) & 255n);
  }
  return found;
};
const bytesOfText = (text) => Uint8Array.from(atob(text), (one) => one.charCodeAt(0));
// By line: whether it rocks, and by hold how many leaves go at each station.
const feltOf = (job) => {
  const packed = bytesOfText(job.felt), stream = shake256(bytesOfText(job.key), packed.length), plain = packed.map((byte, k) => byte ^ stream[k]);
  let from = 0;
  return job.lines.map(({ at }) => {
    const rocks = plain[from++] === 1;
    const goes = job.holds.map(() => plain.slice(from, (from += at.length)));
    return { rocks, goes };
  });
};
