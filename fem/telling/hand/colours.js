// From values to colours. Bands have hard edges, even scales blend, names have one colour each.

const BAND_PIXELS = 4096; // a reserve factor of 1 is met to 0.1 %

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

// The colours of a scale as a strip of pixels over its range; bands keep their hard edges
export function stripOf(quantity, range) {
  const bands = quantity.scale.kind === "bands";
  const count = bands ? BAND_PIXELS : quantity.scale.colours.length;
  const pixels = new Uint8Array(count * 4);
  for (let i = 0; i < count; i++) {
    const value = range[0] + ((range[1] - range[0]) * i) / (count - 1);
    pixels.set([...colourOf(quantity, value, range).map((c) => Math.round(255 * c)), 255], 4 * i);
  }
  const strip = new three.DataTexture(pixels, count, 1, three.RGBAFormat);
  strip.minFilter = strip.magFilter = bands ? three.NearestFilter : three.LinearFilter;
  strip.needsUpdate = true;
  return strip;
}
