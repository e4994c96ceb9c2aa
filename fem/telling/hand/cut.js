// A flat cut through tetrahedra: the face it opens, as triangles whose corners lie on edges of the mesh.
// The case table of a tetrahedron: one corner alone gives a triangle, two against two a quadrangle.

// A tetrahedron of ten nodes as eight of four: its corners, and the octahedron between them (surface.py, EIGHT)
const EIGHT = [
  [0, 4, 6, 7], [4, 1, 5, 8], [6, 5, 2, 9], [7, 8, 9, 3], [4, 8, 5, 6], [4, 7, 8, 6], [7, 9, 8, 6], [5, 8, 9, 6],
];

// All tetrahedra with four nodes each, the curved ones split
export function fourNodes(straight, curved) {
  const out = new Uint32Array(straight.length + (curved.length / 10) * 32);
  out.set(straight);
  let at = straight.length;
  for (let t = 0; t < curved.length; t += 10) {
    for (const piece of EIGHT) for (const corner of piece) out[at++] = curved[t + corner];
  }
  return out;
}

// Signed distances [mm] of all points from the plane normal · x = offset
export function distances(points, normal, offset) {
  const out = new Float32Array(points.length / 3);
  for (let i = 0; i < out.length; i++) {
    out[i] = normal[0] * points[3 * i] + normal[1] * points[3 * i + 1] + normal[2] * points[3 * i + 2] - offset;
  }
  return out;
}

// Points on edges: between node `from` and node `to`, `share` of the way; three after each other make a triangle
class EdgePoints {
  constructor() {
    this.from = [];
    this.to = [];
    this.share = [];
  }

  add(a, b, distance) {
    this.from.push(a);
    this.to.push(b);
    this.share.push(distance[a] / (distance[a] - distance[b]));
  }

  // Values of the nodes, `size` after each other, at these points
  taken(values, size) {
    const out = new Float32Array(this.from.length * size);
    for (let i = 0; i < this.from.length; i++) {
      for (let k = 0; k < size; k++) {
        const low = values[this.from[i] * size + k];
        out[i * size + k] = low + this.share[i] * (values[this.to[i] * size + k] - low);
      }
    }
    return out;
  }
}

// The open face of a cut through tetrahedra with four nodes each
export function cap(tets, distance) {
  const out = new EdgePoints();
  const above = [];
  const below = [];
  for (let t = 0; t < tets.length; t += 4) {
    const over = distance[tets[t]] > 0;
    const crossed = distance[tets[t + 1]] > 0 !== over || distance[tets[t + 2]] > 0 !== over || distance[tets[t + 3]] > 0 !== over;
    if (!crossed) continue;
    above.length = below.length = 0;
    for (let k = 0; k < 4; k++) (distance[tets[t + k]] > 0 ? above : below).push(tets[t + k]);
    if (above.length === 2) {
      const [a, b] = above;
      const [c, d] = below;
      for (const [from, to] of [[a, c], [a, d], [b, d], [a, c], [b, d], [b, c]]) out.add(from, to, distance);
    } else {
      const [lone, others] = above.length === 1 ? [above[0], below] : [below[0], above];
      for (const other of others) out.add(lone, other, distance);
    }
  }
  return out;
}

// Where the cut meets the boundary's triangles: two points after each other make a segment
export function rim(triangles, distance) {
  const out = new EdgePoints();
  for (let t = 0; t < triangles.length; t += 3) {
    const own = [triangles[t], triangles[t + 1], triangles[t + 2]];
    const crossing = [[0, 1], [1, 2], [2, 0]].filter(([a, b]) => distance[own[a]] > 0 !== distance[own[b]] > 0);
    for (const [a, b] of crossing) out.add(own[a], own[b], distance);
  }
  return out;
}
