// From values to colours. Bands have hard edges, even scales blend, names have one colour each.

export const MOST_BANDS = 16;

export function rgb(hex) {
  return [1, 3, 5].map((at) => parseInt(hex.slice(at, at + 2), 16) / 255);
}

// What the paint of a quantity in a case needs: lowest and highest value of an even scale
export function rangeOf(quantity, caseName) {
  if (quantity.scale.kind === "bands") return [0, quantity.top];
  const top = (quantity.tops ? quantity.tops[caseName] : quantity.top) || 1;
  return [quantity.scale.signed ? -top : 0, top];
}

// The colour [0..1, 0..1, 0..1] of a value
export function colourOf(quantity, value, range) {
  const { kind, colours, edges } = quantity.scale;
  if (kind === "bands") {
    let band = 0;
    for (let i = 1; i < colours.length; i++) if (value <= edges[i]) band = i;
    return rgb(colours[band]);
  }
  const share = Math.min(Math.max((value - range[0]) / (range[1] - range[0]), 0), 1) * (colours.length - 1);
  const below = Math.min(Math.floor(share), colours.length - 2);
  const [low, high] = [rgb(colours[below]), rgb(colours[below + 1])];
  return low.map((c, i) => c + (high[i] - c) * (share - below));
}

// The colours of an even scale as a strip of pixels
export function stripOf(colours) {
  const pixels = new Uint8Array(colours.length * 4);
  colours.forEach((hex, i) => pixels.set([...rgb(hex).map((c) => Math.round(255 * c)), 255], 4 * i));
  const strip = new three.DataTexture(pixels, colours.length, 1, three.RGBAFormat);
  strip.minFilter = strip.magFilter = three.LinearFilter;
  strip.needsUpdate = true;
  return strip;
}
