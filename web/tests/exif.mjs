// A photo that says where it was taken.

/** The JPEG with an EXIF segment that holds a place: 52.37 degrees north. */
export function withPlace(jpeg) {
  const tiff = Buffer.alloc(8 + 2 + 12 + 4 + 2 + 2 * 12 + 4 + 24);
  tiff.write("II*\0", 0, "latin1");
  tiff.writeUInt32LE(8, 4);
  tiff.writeUInt16LE(1, 8);
  const entry = (at, tag, type, count, value) => {
    tiff.writeUInt16LE(tag, at);
    tiff.writeUInt16LE(type, at + 2);
    tiff.writeUInt32LE(count, at + 4);
    tiff.writeUInt32LE(value, at + 8);
  };
  entry(10, 0x8825, 4, 1, 26);
  tiff.writeUInt16LE(2, 26);
  entry(28, 1, 2, 2, 0x4e);
  entry(40, 2, 5, 3, 56);
  [52, 1, 22, 1, 12, 1].forEach((value, index) => tiff.writeUInt32LE(value, 56 + 4 * index));
  const body = Buffer.concat([Buffer.from("Exif\0\0", "latin1"), tiff]);
  const head = Buffer.from([0xff, 0xe1, 0, 0]);
  head.writeUInt16BE(body.length + 2, 2);
  // Any EXIF it had is left out, so that this is the one that counts.
  return Buffer.concat([jpeg.subarray(0, 2), head, body, withoutExif(jpeg)]);
}

function withoutExif(jpeg) {
  const kept = [];
  let at = 2;
  while (jpeg[at] === 0xff && jpeg[at + 1] !== 0xda) {
    const end = at + 2 + jpeg.readUInt16BE(at + 2);
    if (jpeg[at + 1] !== 0xe1) kept.push(jpeg.subarray(at, end));
    at = end;
  }
  return Buffer.concat([...kept, jpeg.subarray(at)]);
}
