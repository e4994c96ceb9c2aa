// Which place of the part lies under a point of the picture: the first triangle that a straight line meets.

// Nearest hit of the line start + s · along with triangles; `place(node)` gives a node as drawn, `seen(nodes, weights)`
// says whether a place is not cut away. Corners of a triangle come from `corners`, three after each other.
// Source of the test: T. Möller and B. Trumbore, J. Graphics Tools 2 (1997) 21.
export function firstHit(count, corner, start, along, seen) {
  let best = null;
  const [a, b, c] = [[0, 0, 0], [0, 0, 0], [0, 0, 0]];
  for (let t = 0; t < count; t++) {
    corner(3 * t, a);
    corner(3 * t + 1, b);
    corner(3 * t + 2, c);
    const e1 = minus(b, a);
    const e2 = minus(c, a);
    const p = cross(along, e2);
    const det = dot(e1, p);
    if (Math.abs(det) < 1e-14) continue;
    const s = minus(start, a);
    const u = dot(s, p) / det;
    if (u < 0 || u > 1) continue;
    const q = cross(s, e1);
    const v = dot(along, q) / det;
    if (v < 0 || u + v > 1) continue;
    const far = dot(e2, q) / det;
    if (best && far >= best.far) continue;
    const weights = [1 - u - v, u, v];
    if (seen(t, weights)) best = { triangle: t, weights, far };
  }
  return best;
}

export function minus(a, b) {
  return [a[0] - b[0], a[1] - b[1], a[2] - b[2]];
}

export function plus(a, b, times = 1) {
  return [a[0] + b[0] * times, a[1] + b[1] * times, a[2] + b[2] * times];
}

export function cross(a, b) {
  return [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]];
}

export function dot(a, b) {
  return a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
}

export function unit(a) {
  const length = Math.hypot(...a) || 1;
  return a.map((v) => v / length);
}
