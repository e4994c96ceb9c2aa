// The materials and the surface that are drawn; everything is cut and deformed on the graphics side.
import { rgb } from "./colours.js";
import { cross, minus } from "./pick.js";

const PLACE = `
  attribute vec3 moved;
  uniform float deformation;
  varying vec3 still;
  vec4 placed() {
    still = position;
    return projectionMatrix * modelViewMatrix * vec4(position + deformation * moved, 1.0);
  }`;
const CUT = `
  uniform vec4 plane;
  varying vec3 still;
  void leave() { if (dot(plane.xyz, still) > plane.w) discard; }`;

const PAINTED_VERTEX = `${PLACE}
  attribute float value;
  attribute float lit;
  varying float told;
  varying float light;
  varying float lamp;
  void main() {
    told = value;
    lamp = lit;
    light = abs(normalize(normalMatrix * normal).z);
    gl_Position = placed();
  }`;
const PAINTED_FRAGMENT = `${CUT}
  uniform bool painted;
  uniform float shade;
  uniform sampler2D strip;
  uniform float stripSize;
  uniform vec2 range;
  uniform vec3 plain;
  uniform vec3 glow;
  varying float told;
  varying float light;
  varying float lamp;
  vec3 colour() {
    float share = clamp((told - range.x) / (range.y - range.x), 0.0, 1.0);
    return texture2D(strip, vec2((share * (stripSize - 1.0) + 0.5) / stripSize, 0.5)).rgb;
  }
  void main() {
    leave();
    vec3 paint = painted ? colour() : plain;
    if (lamp < -0.5) discard; // hidden
    paint = mix(paint, glow, 0.75 * lamp);
    gl_FragColor = vec4(paint * (1.0 - shade * (1.0 - light)), 1.0);
  }`;
const INK_VERTEX = `${PLACE} void main() { gl_Position = placed(); gl_Position.z -= 0.0003 * gl_Position.w; }`;
const INK_FRAGMENT = `${CUT}
  uniform vec3 ink;
  uniform float hatch;
  void main() {
    leave();
    if (hatch > 0.0 && mod(gl_FragCoord.x + gl_FragCoord.y, 11.0 * hatch) > 1.6 * hatch) discard;
    gl_FragColor = vec4(ink, 1.0);
  }`;

export const SHADE = 0.34;

// The uniforms that all materials of a viewer share
export function sharedUniforms() {
  const names = { deformation: 0, plane: new three.Vector4(0, 0, 0, 1), painted: false, stripSize: 2 };
  const shared = Object.fromEntries(Object.entries(names).map(([name, value]) => [name, { value }]));
  shared.strip = { value: null };
  shared.range = { value: new three.Vector2(0, 1) };
  shared.plain = { value: new three.Vector3(0.8, 0.82, 0.83) };
  shared.glow = { value: new three.Vector3(...rgb("#e2a100")) };
  return shared;
}

export function paintedMaterial(shared, shade) {
  return new three.ShaderMaterial({
    uniforms: { ...shared, shade: { value: shade } },
    vertexShader: PAINTED_VERTEX,
    fragmentShader: PAINTED_FRAGMENT,
    side: three.DoubleSide,
  });
}

export function inkMaterial(shared, { ink = [0.09, 0.11, 0.13], hatch = 0 } = {}) {
  return new three.ShaderMaterial({
    uniforms: { ...shared, ink: { value: new three.Vector3(...ink) }, hatch: { value: hatch } },
    vertexShader: INK_VERTEX,
    fragmentShader: INK_FRAGMENT,
    side: hatch > 0 ? three.FrontSide : three.DoubleSide,
  });
}

export function geometryOf(arrays) {
  const geometry = new three.BufferGeometry();
  for (const [name, [array, size]] of Object.entries(arrays)) {
    geometry.setAttribute(name, new three.BufferAttribute(array, size));
  }
  return geometry;
}

// The boundary with a point for each node on each face, so that edges between faces stay crisp and curved faces smooth
export function crispSurface(points, triangles, face) {
  const known = new Map();
  const node = [];
  const index = new Uint32Array(triangles.length);
  const most = points.length / 3;
  for (let i = 0; i < triangles.length; i++) {
    const key = face[Math.floor(i / 3)] * most + triangles[i];
    let at = known.get(key);
    if (at === undefined) {
      at = node.length;
      known.set(key, at);
      node.push(triangles[i]);
    }
    index[i] = at;
  }
  const nodes = Uint32Array.from(node);
  return { nodes, index, normal: smoothNormals(points, nodes, index) };
}

function smoothNormals(points, nodes, index) {
  const normal = new Float32Array(nodes.length * 3);
  const corner = [[0, 0, 0], [0, 0, 0], [0, 0, 0]];
  for (let t = 0; t < index.length; t += 3) {
    for (let k = 0; k < 3; k++) for (let i = 0; i < 3; i++) corner[k][i] = points[3 * nodes[index[t + k]] + i];
    const out = cross(minus(corner[1], corner[0]), minus(corner[2], corner[0]));
    for (let k = 0; k < 3; k++) for (let i = 0; i < 3; i++) normal[3 * index[t + k] + i] += out[i];
  }
  return normal;
}

// Values of nodes, `size` after each other, at the points that stand for them
export function spread(values, nodes, size) {
  const out = new Float32Array(nodes.length * size);
  for (let i = 0; i < nodes.length; i++) for (let k = 0; k < size; k++) out[i * size + k] = values[nodes[i] * size + k];
  return out;
}
