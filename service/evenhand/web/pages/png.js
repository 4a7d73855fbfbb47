// Grey PNG files (ISO/IEC 15948), for masks that were painted.

const SIGNATURE = [0x89, 0x50, 0x4e, 0x47, 0x0d, 0x0a, 0x1a, 0x0a];

const CRC = Uint32Array.from({ length: 256 }, (_, n) => {
  for (let k = 0; k < 8; k++) n = n & 1 ? 0xedb88320 ^ (n >>> 1) : n >>> 1;
  return n;
});

function crc(bytes) {
  let c = 0xffffffff;
  for (const byte of bytes) c = CRC[(c ^ byte) & 255] ^ (c >>> 8);
  return (c ^ 0xffffffff) >>> 0;
}

function chunk(name, data) {
  const made = new Uint8Array(data.length + 12);
  const view = new DataView(made.buffer);
  view.setUint32(0, data.length);
  made.set([...name].map((letter) => letter.charCodeAt(0)), 4);
  made.set(data, 8);
  view.setUint32(data.length + 8, crc(made.subarray(4, data.length + 8)));
  return made;
}

/** An 8-bit grey PNG as a Blob. @param {Uint8Array} grey  row by row */
export async function greyPNG(grey, width, height) {
  const head = new Uint8Array(13);
  const view = new DataView(head.buffer);
  view.setUint32(0, width);
  view.setUint32(4, height);
  head.set([8, 0, 0, 0, 0], 8);
  const rows = new Uint8Array((width + 1) * height);
  for (let row = 0; row < height; row++) {
    rows.set(grey.subarray(row * width, (row + 1) * width), row * (width + 1) + 1);
  }
  const stream = new Blob([rows]).stream().pipeThrough(new CompressionStream("deflate"));
  const data = new Uint8Array(await new Response(stream).arrayBuffer());
  const parts = [new Uint8Array(SIGNATURE), chunk("IHDR", head), chunk("IDAT", data), chunk("IEND", new Uint8Array())];
  return new Blob(parts, { type: "image/png" });
}
