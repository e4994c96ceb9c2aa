// What does not follow the mesh: sections as they are printed, and the arrows of loads.
import { rgb } from "./colours.js";
import { cross, minus, plus, unit } from "./pick.js";
import { unpacked } from "./unpack.js";

export const PLACE_COLOURS = { list: [] };
const OUTSIDE = 0;

// A section as a picture in space, with the way its beads run as short lines
export async function sectionObjects(told) {
  const [places] = await unpacked(told.places);
  const pixels = new Uint8Array(places.length * 4);
  places.forEach((place, i) => {
    const colour = rgb(PLACE_COLOURS.list[place]).map((c) => Math.round(255 * c));
    pixels.set([...colour, place === OUTSIDE ? 0 : 255], 4 * i);
  });
  const picture = new three.DataTexture(pixels, told.columns, told.rows, three.RGBAFormat);
  picture.needsUpdate = true;
  const corners = [told.at, plus(told.at, told.right), plus(plus(told.at, told.right), told.up), plus(told.at, told.up)];
  const geometry = new three.BufferGeometry();
  geometry.setAttribute("position", new three.BufferAttribute(new Float32Array(corners.flat()), 3));
  geometry.setAttribute("uv", new three.BufferAttribute(new Float32Array([0, 0, 1, 0, 1, 1, 0, 1]), 2));
  geometry.setIndex([0, 1, 2, 0, 2, 3]);
  const group = new three.Group();
  const paint = { map: picture, side: three.DoubleSide, alphaTest: 0.5, toneMapped: false };
  group.add(new three.Mesh(geometry, new three.MeshBasicMaterial(paint)));
  const lines = new three.BufferGeometry();
  const lifted = [];
  for (const side of [0.02, -0.02]) {
    const lift = told.normal.map((v) => v * side * 5);
    for (let i = 0; i < told.strokes.length; i++) lifted.push(told.strokes[i] + lift[i % 3]);
  }
  lines.setAttribute("position", new three.BufferAttribute(new Float32Array(lifted), 3));
  group.add(new three.LineSegments(lines, new three.LineBasicMaterial({ color: 0x14181c, toneMapped: false })));
  return group;
}

// An arrow: solid where it is seen, faint where the part hides it
export function arrowObject(arrow, diagonal) {
  const group = new three.Group();
  const way = minus(arrow.tip, arrow.tail);
  const length = Math.hypot(...way);
  if (length === 0) return group;
  const along = unit(way);
  const head = 0.045 * diagonal;
  const shapes = [rod(arrow.tail, along, length - head * 0.8, 0.005 * diagonal)];
  shapes.push(cone(arrow.tip, along, head));
  if (arrow.kind === "moment") shapes.push(cone(plus(arrow.tip, along, -0.8 * head), along, head));
  const color = new three.Color().setStyle(arrow.colour, three.LinearSRGBColorSpace);
  for (const [faint, opacity] of [[false, 1], [true, 0.18]]) {
    const matter = { color, transparent: faint, opacity, depthTest: !faint, depthWrite: !faint, toneMapped: false };
    for (const shape of shapes) group.add(new three.Mesh(shape, new three.MeshBasicMaterial(matter)));
  }
  return group;
}

function rod(tail, along, length, radius) {
  const shape = new three.CylinderGeometry(radius, radius, length, 16);
  return stood(shape, plus(tail, along, length / 2), along);
}

function cone(tip, along, head) {
  return stood(new three.ConeGeometry(0.36 * head, head, 24), plus(tip, along, -head / 2), along);
}

// A shape that stands on y, turned to stand on `along` with its middle at a place
function stood(shape, middle, along) {
  const side = unit(Math.abs(along[2]) < 0.9 ? cross(along, [0, 0, 1]) : cross(along, [1, 0, 0]));
  const third = cross(side, along);
  const turn = new three.Matrix4().makeBasis(
    new three.Vector3(...side),
    new three.Vector3(...along),
    new three.Vector3(...third),
  );
  return shape.applyMatrix4(turn.setPosition(...middle));
}
