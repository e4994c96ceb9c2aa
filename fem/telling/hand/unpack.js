// Undoes packing.py: base64, deflate, bytes of one rank together, differences between neighbours.

function bytesOf(text) {
  if (Uint8Array.fromBase64) return Uint8Array.fromBase64(text);
  const letters = atob(text);
  const out = new Uint8Array(letters.length);
  for (let i = 0; i < out.length; i++) out[i] = letters.charCodeAt(i);
  return out;
}

async function inflated(text) {
  const packed = bytesOf(text);
  const stream = new Blob([packed]).stream().pipeThrough(new DecompressionStream("deflate"));
  return new Uint8Array(await new Response(stream).arrayBuffer());
}

// Columns of whole numbers of two or four bytes, each a typed array
export async function unpacked(text, { columns = 1, bytes = 2 } = {}) {
  const all = await inflated(text);
  const count = all.length / (columns * bytes);
  const Whole = bytes === 2 ? Uint16Array : Uint32Array;
  const out = [];
  for (let c = 0; c < columns; c++) {
    const column = new Whole(count);
    const start = c * count * bytes;
    let sum = 0;
    for (let i = 0; i < count; i++) {
      let step = 0;
      for (let rank = bytes - 1; rank >= 0; rank--) step = (step << 8) | all[start + rank * count + i];
      sum = (sum + step) >>> 0;
      column[i] = sum; // wraps around, as the differences did
    }
    out.push(column);
  }
  return out;
}

// Node numbers, row after row
export async function unpackedIndices(text, columns) {
  const own = await unpacked(text, { columns, bytes: 4 });
  const rows = own[0].length;
  const out = new Uint32Array(rows * columns);
  for (let r = 0; r < rows; r++) {
    out[r * columns] = own[0][r];
    for (let c = 1; c < columns; c++) out[r * columns + c] = own[0][r] + own[c][r];
  }
  return out;
}

// Points, x y z after each other [mm]
export async function unpackedPlaces(told) {
  const axes = await unpacked(told.packed, { columns: 3, bytes: told.bytes ?? 2 });
  const out = new Float32Array(axes[0].length * 3);
  for (let a = 0; a < 3; a++) {
    for (let i = 0; i < axes[a].length; i++) out[3 * i + a] = told.origin[a] + axes[a][i] * told.step[a];
  }
  return out;
}

// One value a node
export async function unpackedField(told) {
  const [steps] = await unpacked(told.packed);
  const out = new Float32Array(steps.length);
  for (let i = 0; i < out.length; i++) out[i] = (steps[i] - told.zero) * told.step;
  return out;
}
