// The solid on the bed of a printer: how high it stands, its shadow from above, where it lies and where it hangs over.
import { cross, dot, minus, plus, unit } from "../hand/pick.js";

const EXACTLY = 1e-6; // a face at the limit carries itself
const STRIPS = 600; // the shadow is cut into at least so many strips
const [LAYER, LEVEL] = [0.2, Math.cos(Math.PI / 36)]; // what looks down within 5 degrees, no higher than 0.2 mm, lies on the bed

// What stands on the bed when built along `way`. `body` has points and triangles, `normals` the outward normal of each
// triangle, `areas` [mm2]; a triangle hangs over where it leans more than `steepest` degrees from upright and looks down.
export function onBed(body, normals, areas, way, steepest) {
  const up = unit(way);
  const { triangles } = body;
  const height = heights(body.points, up);
  let [low, high] = [Infinity, -Infinity];
  for (const n of triangles) {
    low = Math.min(low, height[n]);
    high = Math.max(high, height[n]);
  }
  const limit = Math.sin((steepest * Math.PI) / 180) + EXACTLY;
  const out = { up, low, height: high - low, lying: [], over: [], above: [], lyingArea: 0, overArea: 0 };
  for (let t = 0; t < areas.length; t++) {
    const facing = normals[3 * t] * up[0] + normals[3 * t + 1] * up[1] + normals[3 * t + 2] * up[2];
    const top = Math.max(height[triangles[3 * t]], height[triangles[3 * t + 1]], height[triangles[3 * t + 2]]);
    if (facing > 0) out.above.push(t);
    else if (-facing > LEVEL && top <= low + LAYER) {
      out.lying.push(t);
      out.lyingArea += areas[t];
    } else if (-facing > limit) {
      out.over.push(t);
      out.overArea += areas[t];
    }
  }
  return out;
}

function heights(points, up) {
  const out = new Float64Array(points.length / 3);
  for (let n = 0; n < out.length; n++) out[n] = points[3 * n] * up[0] + points[3 * n + 1] * up[1] + points[3 * n + 2] * up[2];
  return out;
}

// Outward normal of each triangle: that of its face where this is flat, `flat[face]` (null where it is not)
export function trianglesOf(body, flat) {
  const count = body.triangles.length / 3;
  const [normals, areas] = [new Float64Array(3 * count), new Float64Array(count)];
  for (let t = 0; t < count; t++) {
    const [a, b, c] = cornersOf(body, t);
    const twice = cross(minus(b, a), minus(c, a));
    areas[t] = Math.hypot(...twice) / 2;
    normals.set(flat[body.face[t]] ?? unit(twice), 3 * t);
  }
  return { normals, areas };
}

export function cornersOf({ points, triangles }, t) {
  return [0, 1, 2].map((k) => Array.from(points.subarray(3 * triangles[3 * t + k], 3 * triangles[3 * t + k] + 3)));
}

// Two unit vectors square to `up` and to each other
export function flatAxes(up) {
  const least = up.map(Math.abs).indexOf(Math.min(...up.map(Math.abs)));
  const right = unit(cross(up, [0, 1, 2].map((k) => (k === least ? 1 : 0))));
  return [right, cross(up, right)];
}

// The area [mm2] that triangles cover seen along `up`, each place counted once. Strips run between all heights v at
// which a corner lies; where no sides cross, the covered length is linear within a strip, and its middle exact.
export function shadowArea(body, list, up) {
  const [right, over] = flatAxes(up);
  const flat = list.map((t) => cornersOf(body, t).map((at) => [dot(at, right), dot(at, over)]));
  const spans = flat.map((corner) => [Math.min(...corner.map((c) => c[1])), Math.max(...corner.map((c) => c[1]))]);
  const order = flat.map((_, i) => i).sort((a, b) => spans[a][0] - spans[b][0]);
  let area = 0;
  let next = 0;
  let active = [];
  for (const [from, to] of strips(spans)) {
    const v = (from + to) / 2;
    while (next < order.length && spans[order[next]][0] <= v) active.push(order[next++]);
    active = active.filter((i) => spans[i][1] >= v);
    area += (to - from) * covered(active.map((i) => crossed(flat[i], v)));
  }
  return area;
}

function strips(spans) {
  const ends = [...new Set(spans.flat())].sort((a, b) => a - b);
  const whole = ends.at(-1) - ends[0];
  const breaks = ends.filter((v, i) => i === 0 || i === ends.length - 1 || v - ends[i - 1] > 1e-6 * whole);
  const kept = breaks.length > 4 * STRIPS ? [ends[0], ends.at(-1)] : breaks;
  const widest = whole / (kept === breaks ? STRIPS : 4 * STRIPS);
  return kept.slice(1).flatMap((to, i) => {
    const count = Math.max(1, Math.ceil((to - kept[i]) / widest));
    const at = (n) => kept[i] + ((to - kept[i]) * n) / count;
    return Array.from({ length: count }, (_, n) => [at(n), at(n + 1)]);
  });
}

// From where to where a flat triangle meets the line at height v
function crossed(corner, v) {
  let [low, high] = [Infinity, -Infinity];
  for (let k = 0; k < 3; k++) {
    const [[x, y], [x2, y2]] = [corner[k], corner[(k + 1) % 3]];
    if ((y < v && y2 < v) || (y > v && y2 > v) || y === y2) continue;
    const at = x + ((x2 - x) * (v - y)) / (y2 - y);
    low = Math.min(low, at);
    high = Math.max(high, at);
  }
  return [low, high];
}

// The length that intervals cover together
function covered(intervals) {
  let [sum, end] = [0, -Infinity];
  for (const [low, high] of intervals.sort((a, b) => a[0] - b[0])) {
    if (high > end) {
      sum += high - Math.max(low, end);
      end = high;
    }
  }
  return sum;
}

// Places of triangles, corner after corner, laid onto the bed
export function shadowPlaces(body, list, { up, low }) {
  const out = new Float32Array(list.length * 9);
  list.forEach((t, i) => {
    cornersOf(body, t).forEach((at, k) => out.set(plus(at, up, low - dot(at, up)), 9 * i + 3 * k));
  });
  return out;
}
