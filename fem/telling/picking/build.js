// A build direction: along an axis or by a flat, with the solid's shadow on the bed and where it hangs over.
import { make } from "../hand/elements.js";
import { unit } from "../hand/pick.js";
import { cornersOf, onBed, shadowArea, shadowPlaces, trianglesOf } from "./bed.js";
import { areaText, decimals, wayText } from "./lines.js";

const [OVER, SHADOW] = ["#d1495b", "#8b9794"];
const AXES = ["+x", "−x", "+y", "−y", "+z", "−z"];

export class BuildDirection {
  constructor(picker) {
    this.picker = picker;
    this.section = picker.section("build");
    this.find = (name) => this.section.querySelector(`.pick-${name}`);
    this.way = [0, 0, 1];
    this.from = "+z";
    AXES.forEach((name, i) => {
      const way = [0, 1, 2].map((k) => (k === i >> 1 ? (i % 2 ? -1 : 1) : 0));
      const button = make("button", { type: "button", "aria-pressed": "false" }, name);
      button.addEventListener("click", () => this.take(way, name));
      this.find("axes").append(button);
    });
    this.find("steep").addEventListener("input", () => picker.redraw());
    for (const button of this.section.querySelectorAll(".pick-from")) {
      button.addEventListener("click", () => this.look(button.dataset.tilt === "up" ? 1 : -1));
    }
  }

  take(way, from) {
    Object.assign(this, { way, from });
    this.picker.redraw();
    this.fit();
  }

  // The bed belongs to the whole view
  fit() {
    const { eye } = this.picker.viewer;
    Object.assign(eye, eye.fitted());
    eye.whole = eye.half;
    this.picker.viewer.draw();
  }

  left() {
    const { viewer } = this.picker;
    viewer.eye.points = viewer.part.body.points;
  }

  // A flat gives the direction; what is not flat gives none
  picked(face) {
    const { facing: way, id } = this.picker.data.faces[face];
    if (!way) {
      this.find("now").textContent = `Face ${id} is not flat and gives no direction.`;
      return;
    }
    const lies = this.find("facing").value === "bed";
    this.take(lies ? way.map((v) => -v || 0) : way, lies ? `face ${id} on the bed` : `face ${id} facing up`);
  }

  lit() {
    return [];
  }

  // Half from the side, so that the bed is seen from above or the overhangs from below
  look(sign) {
    const { viewer } = this.picker;
    const [x, y, z] = unit(unit(this.way).map((v, k) => sign * v + 0.55 * [0.67, -0.74, 0.1][k]));
    Object.assign(viewer.eye, { azimuth: Math.atan2(y, x), tilt: Math.min(Math.max(Math.asin(z), -1.5), 1.5) });
    this.fit();
  }

  numbers() {
    const { body } = this.picker.viewer.part;
    this.told_ ??= trianglesOf(body, this.picker.data.faces.map(({ normal }) => normal));
    const { normals, areas } = this.told_;
    const bed = onBed(body, normals, areas, this.way, Number(this.find("steep").value));
    if (this.shadowOf !== this.way) this.shadow = shadowArea(body, bed.above, bed.up);
    this.shadowOf = this.way;
    return { ...bed, shadow: this.shadow };
  }

  draw() {
    const { body } = this.picker.viewer.part;
    const bed = this.numbers();
    const over = bed.over.flatMap((t) => cornersOf(body, t).flat());
    const shadow = shadowPlaces(body, bed.above, bed);
    this.picker.viewer.eye.points = joined(body.points, shadow);
    this.picker.cover(shadow, SHADOW);
    this.picker.cover(Float32Array.from(over), OVER);
    this.find("now").textContent = `Up is ${wayText(this.way)}: ${this.from}`;
    [...this.find("axes").children].forEach((b) => b.setAttribute("aria-pressed", String(b.textContent === this.from)));
    const steep = this.find("steep");
    const text = `${steep.value}° from upright`;
    this.find("steep-text").textContent = text;
    steep.setAttribute("aria-valuetext", text);
    const rows = { "Shadow on the bed": [areaText(bed.shadow), SHADOW], "Lies on the bed": [areaText(bed.lyingArea)], "Hangs over": [areaText(bed.overArea), OVER], Height: [`${decimals(bed.height, 1)} mm`] };
    this.find("build").replaceChildren(
      ...Object.entries(rows).flatMap(([name, [value, colour]]) => {
        const chip = colour ? [make("i", { style: `background: ${colour}` })] : [];
        return [make("dt", {}, ...chip, name), make("dd", {}, value)];
      }),
    );
  }

  told() {
    const lines = [`build_direction = ${wayText(this.way)}`];
    const proof = "Areas are those of the triangles drawn: exact on flats, some one per cent off on curved faces. Bridges are counted as overhang.";
    return { under: `[bodies.${this.picker.data.body}.print]`, lines, empty: "", proof };
  }
}

function joined(one, other) {
  const out = new Float32Array(one.length + other.length);
  out.set(one);
  out.set(other, one.length);
  return out;
}
