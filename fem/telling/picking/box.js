// The part of a face inside a box: which places it covers, and how large it is.
import { cross, minus } from "../hand/pick.js";
import { cornersOf } from "./bed.js";
import { decimals } from "./lines.js";

// The box of two corners [mm]; where they lie in one plane across an axis it reaches a millimetre to both sides
export function boxOf(one, other) {
  const low = one.map((v, k) => Math.min(v, other[k]));
  const high = one.map((v, k) => Math.max(v, other[k]));
  for (let k = 0; k < 3; k++) {
    if (high[k] - low[k] > 0.2) continue;
    const middle = (low[k] + high[k]) / 2;
    [low[k], high[k]] = [middle - 1, middle + 1];
  }
  const rounded = (at) => at.map((v) => Number(decimals(v, 1)));
  return { low: rounded(low), high: rounded(high) };
}

// Triangles of a face, cut at the sides of a box: places corner after corner, and their area [mm2]
export function inBox(body, face, { low, high }) {
  const places = [];
  let area = 0;
  for (let t = 0; t < body.face.length; t++) {
    if (body.face[t] !== face) continue;
    let polygon = cornersOf(body, t);
    for (let k = 0; k < 3; k++) {
      polygon = halved(polygon, (at) => at[k] - low[k]);
      polygon = halved(polygon, (at) => high[k] - at[k]);
    }
    for (let i = 2; i < polygon.length; i++) {
      const corners = [polygon[0], polygon[i - 1], polygon[i]];
      area += Math.hypot(...cross(minus(corners[1], corners[0]), minus(corners[2], corners[0]))) / 2;
      places.push(...corners.flat());
    }
  }
  return { places: Float32Array.from(places), area };
}

// What remains of a polygon where `inside` is not negative
function halved(polygon, inside) {
  return polygon.flatMap((at, i) => {
    const before = polygon.at(i - 1);
    const [here, there] = [inside(at), inside(before)];
    const out = here >= 0 ? [at] : [];
    if (here * there < 0) out.unshift(at.map((v, k) => v + ((before[k] - v) * here) / (here - there)));
    return out;
  });
}
