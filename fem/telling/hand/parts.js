// The part as it is drawn: surface, cap of a cut, edges, supports, arrows, printed sections; and which place is hit.
import { stripOf } from "./colours.js";
import { cap, distances, fourNodes, rim } from "./cut.js";
import { dot, firstHit, plus } from "./pick.js";
import { crispSurface, geometryOf, inkMaterial, paintedMaterial, SHADE, sharedUniforms, spread } from "./space.js";
import { sectionObjects } from "./sections.js";

const NOT_CUT = [0, 0, 0, 1];

export class Part {
  constructor(body) {
    this.body = body; // points, triangles, face, edges, straight, curved, supports; `of` which body each node is
    this.tets = fourNodes(body.straight, body.curved);
    this.vector = new Float32Array(body.points.length);
    this.values = this.inner = new Float32Array(body.points.length / 3);
    this.shared = sharedUniforms();
    this.world = new three.Scene();
    this.cut = null;
    this.lit = new Set();
    this.hidden = new Set();
    this.gone = new Set();
    this.surface = crispSurface(body.points, body.triangles, body.face);
    this.skin = this.added(this.skinGeometry(), paintedMaterial(this.shared, SHADE));
    this.edges = this.inkLines(body.points, body.edges);
    this.supports = new three.Group();
    this.world.add(this.supports);
    for (const own of body.supports) this.supports.add(this.hatched(own.triangles));
    this.capMesh = null;
    this.rimLines = null;
    this.sections = null;
  }

  added(geometry, material) {
    const mesh = new three.Mesh(geometry, material);
    mesh.frustumCulled = false;
    this.world.add(mesh);
    return mesh;
  }

  skinGeometry() {
    const { nodes, index, normal } = this.surface;
    const geometry = geometryOf({
      position: [spread(this.body.points, nodes, 3), 3],
      normal: [normal, 3],
      moved: [new Float32Array(nodes.length * 3), 3],
      value: [new Float32Array(nodes.length), 1],
      lit: [new Float32Array(nodes.length), 1],
    });
    geometry.setIndex(new three.BufferAttribute(index, 1));
    return geometry;
  }

  // Lines between nodes, given in pairs
  inkLines(points, pairs) {
    const geometry = geometryOf({
      position: [spread(points, pairs, 3), 3],
      moved: [new Float32Array(pairs.length * 3), 3],
    });
    const lines = new three.LineSegments(geometry, inkMaterial(this.shared));
    lines.frustumCulled = false;
    lines.userData.nodes = pairs;
    this.world.add(lines);
    return lines;
  }

  hatched(triangles) {
    const nodes = new Uint32Array(triangles.length * 3);
    triangles.forEach((t, i) => nodes.set(this.body.triangles.subarray(3 * t, 3 * t + 3), 3 * i));
    const geometry = geometryOf({
      position: [spread(this.body.points, nodes, 3), 3],
      moved: [new Float32Array(nodes.length * 3), 3],
    });
    const mesh = new three.Mesh(geometry, inkMaterial(this.shared, { hatch: 1 }));
    mesh.frustumCulled = false;
    mesh.userData.nodes = nodes;
    return mesh;
  }

  // The displacement [mm] of the nodes that everything follows
  follow(vector) {
    this.vector = vector;
    const put = (object, nodes) => {
      object.geometry.attributes.moved.array.set(spread(vector, nodes, 3));
      object.geometry.attributes.moved.needsUpdate = true;
    };
    put(this.skin, this.surface.nodes);
    put(this.edges, this.edges.userData.nodes);
    for (const own of this.supports.children) put(own, own.userData.nodes);
    this.recap();
  }

  deform(scale) {
    this.shared.deformation.value = scale;
  }

  // Paint values of the nodes as a quantity's scale says; without one, the part is plain
  paint(quantity, values, range) {
    this.shared.painted.value = Boolean(values);
    if (values) {
      this.shared.strip.value?.dispose();
      this.shared.strip.value = stripOf(quantity, range);
      this.shared.stripSize.value = this.shared.strip.value.image.width;
      this.shared.range.value.set(...range);
    }
    this.values = values || new Float32Array(this.body.points.length / 3);
    this.inner = quantity?.skin ? new Float32Array(this.values.length) : this.values; // what faces alone have
    this.skin.geometry.attributes.value.array.set(spread(this.values, this.surface.nodes, 1));
    this.skin.geometry.attributes.value.needsUpdate = true;
    if (this.capPoints) this.putOnCap("value", this.capPoints.taken(this.inner, 1));
  }

  // Light up faces by their numbers, others faintly; hidden ones are neither drawn nor hit
  light(faces, faint = []) {
    this.lit = new Set(faces);
    const glow = new Map([...faint].map((face) => [face, 0.45]));
    for (const face of this.lit) glow.set(face, 1);
    for (const face of this.hidden) glow.set(face, -1);
    const lit = this.skin.geometry.attributes.lit;
    const { index } = this.surface;
    for (let i = 0; i < index.length; i++) lit.array[index[i]] = glow.get(this.body.face[Math.floor(i / 3)]) ?? 0;
    lit.needsUpdate = true;
  }

  hide(faces) {
    this.hidden = new Set(faces);
    this.light(this.lit);
  }

  // Leave out whole bodies, by their numbers; their edges stay
  without(bodies) {
    this.gone = new Set(bodies);
    const { face, triangles, of } = this.body;
    const own = new Set();
    face.forEach((number, t) => this.gone.has(of[triangles[3 * t]]) && own.add(number));
    this.hide(own);
    this.recap();
  }

  // Of nodes in groups of `size` those of bodies that are shown
  shown(nodes, size) {
    if (!this.gone.size) return nodes;
    return nodes.filter((_, i) => !this.gone.has(this.body.of[nodes[i - (i % size)]]));
  }

  // Cut away what lies beyond normal · x = offset [mm]; null shows the whole part
  cutAt(plane, { capped = true } = {}) {
    this.cut = plane;
    this.capped = capped;
    this.shared.plane.value.set(...(plane ? [...plane.normal, plane.offset] : NOT_CUT));
    this.recap();
  }

  recap() {
    for (const old of [this.capMesh, this.rimLines]) {
      if (!old) continue;
      this.world.remove(old);
      old.geometry.dispose();
      old.material.dispose();
    }
    this.capMesh = this.rimLines = this.capPoints = null;
    if (!this.cut) return;
    const distance = distances(this.body.points, this.cut.normal, this.cut.offset);
    const open = { ...this.shared, plane: { value: new three.Vector4(...NOT_CUT) } }; // the cap itself is not cut
    if (this.capped) {
      this.capPoints = cap(this.shown(this.tets, 4), distance);
      const count = this.capPoints.from.length;
      const geometry = geometryOf({
        position: [this.capPoints.taken(this.body.points, 3), 3],
        normal: [new Float32Array(count * 3).fill(1), 3],
        moved: [this.capPoints.taken(this.vector, 3), 3],
        value: [this.capPoints.taken(this.inner, 1), 1],
        lit: [new Float32Array(count), 1],
      });
      this.capMesh = this.added(geometry, paintedMaterial(open, 0));
    }
    const line = rim(this.shown(this.body.triangles, 3), distance);
    const geometry = geometryOf({
      position: [line.taken(this.body.points, 3), 3],
      moved: [line.taken(this.vector, 3), 3],
    });
    this.rimLines = new three.LineSegments(geometry, inkMaterial(open));
    this.rimLines.frustumCulled = false;
    this.world.add(this.rimLines);
  }

  putOnCap(name, array) {
    const attribute = this.capMesh.geometry.attributes[name];
    attribute.array.set(array);
    attribute.needsUpdate = true;
  }

  // Show one of the printed sections, or none
  async showSection(told) {
    if (this.sections) this.world.remove(this.sections);
    this.sections = told ? await sectionObjects(told) : null;
    if (this.sections) this.world.add(this.sections);
  }

  // What the straight line meets first: `nodes` with `weights`, the place `at` as drawn, its `face` (null on a cap)
  hit(start, along) {
    const scale = this.shared.deformation.value;
    const { points, triangles, face } = this.body;
    const node = (n, k) => points[3 * n + k] + scale * this.vector[3 * n + k];
    const onSkin = (i, out) => {
      for (let k = 0; k < 3; k++) out[k] = node(triangles[i], k);
    };
    const uncut = (t, weights) => !this.cut || this.beyond(triangles.subarray(3 * t, 3 * t + 3), weights) <= 0;
    const kept = (t, weights) => !this.hidden.has(face[t]) && uncut(t, weights);
    const skin = firstHit(triangles.length / 3, onSkin, start, along, kept);
    const edge = this.capPoints;
    const onCap = (i, out) => {
      const s = edge.share[i];
      for (let k = 0; k < 3; k++) out[k] = node(edge.from[i], k) * (1 - s) + node(edge.to[i], k) * s;
    };
    const inner = edge ? firstHit(edge.from.length / 3, onCap, start, along, () => true) : null;
    if (!skin && !inner) return null;
    if (inner && (!skin || inner.far < skin.far)) {
      const three_ = [0, 1, 2].map((k) => 3 * inner.triangle + k);
      const nodes = three_.flatMap((i) => [edge.from[i], edge.to[i]]);
      const weights = three_.flatMap((i, k) => [1 - edge.share[i], edge.share[i]].map((w) => w * inner.weights[k]));
      return { nodes, weights, at: plus(start, along, inner.far), face: null, far: inner.far };
    }
    const nodes = Array.from(triangles.subarray(3 * skin.triangle, 3 * skin.triangle + 3));
    return { nodes, weights: skin.weights, at: plus(start, along, skin.far), face: face[skin.triangle], far: skin.far };
  }

  // How far [mm] a place lies beyond the cut
  beyond(nodes, weights) {
    const at = [0, 0, 0];
    nodes.forEach((n, i) => {
      for (let k = 0; k < 3; k++) at[k] += this.body.points[3 * n + k] * weights[i];
    });
    return dot(at, this.cut.normal) - this.cut.offset;
  }

  // Outward normal of the boundary at the node nearest to a place
  normalAt(place) {
    const { nodes, normal } = this.surface;
    let best = 0;
    let least = Infinity;
    for (let i = 0; i < nodes.length; i++) {
      let far = 0;
      for (let k = 0; k < 3; k++) far += (this.body.points[3 * nodes[i] + k] - place[k]) ** 2;
      if (far < least) [best, least] = [i, far];
    }
    return Array.from(normal.subarray(3 * best, 3 * best + 3));
  }

  // Displacement [mm] of the node nearest to a place
  movedAt(place) {
    let best = 0;
    let least = Infinity;
    const { points } = this.body;
    for (let n = 0; n < points.length / 3; n++) {
      const far = (points[3 * n] - place[0]) ** 2 + (points[3 * n + 1] - place[1]) ** 2 + (points[3 * n + 2] - place[2]) ** 2;
      if (far < least) [best, least] = [n, far];
    }
    return Array.from(this.vector.subarray(3 * best, 3 * best + 3));
  }
}
