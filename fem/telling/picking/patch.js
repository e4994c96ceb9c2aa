// A patch: what lies of one face inside a box, given by two corners that are clicked or by six numbers.
import { areaText, keyText, newName, ofBody, withCut } from "./lines.js";
import { boxOf, inBox } from "./box.js";
import { numberInputs } from "./picker.js";

const INK = "#e2a100";

export class Patch {
  constructor(picker) {
    this.picker = picker;
    this.section = picker.section("patch");
    this.kept = [];
    this.find = (name) => this.section.querySelector(`.pick-${name}`);
    const names = ["low x", "low y", "low z", "high x", "high y", "high z"];
    this.numbers = numberInputs(this.find("numbers"), names, () => this.typed());
    this.find("clear").addEventListener("click", () => this.begin());
    this.find("name").addEventListener("input", () => picker.write());
    this.find("keep").addEventListener("click", () => {
      this.kept.push({ name: this.name(), face: this.face, box: this.box });
      this.begin();
    });
    this.face = this.box = this.corner = null;
  }

  begin() {
    this.face = this.box = this.corner = null;
    this.numbers.show(null);
    this.picker.redraw();
  }

  // The first click takes a face and a corner, the second on it the other corner
  picked(face, at) {
    if (this.corner && face === this.face) {
      this.box = boxOf(this.corner, at);
      this.corner = null;
      this.numbers.show([...this.box.low, ...this.box.high]);
    } else {
      Object.assign(this, { face, corner: at, box: null });
      this.numbers.show(null);
    }
    this.picker.redraw();
  }

  typed() {
    const values = this.numbers.read();
    this.corner = null;
    this.box = values && { low: values.slice(0, 3), high: values.slice(3) };
    this.picker.redraw();
  }

  name() {
    return newName(this.find("name").value.trim() || "patch", this.kept.map(({ name }) => name));
  }

  lit() {
    return [];
  }

  draw() {
    const { viewer } = this.picker;
    viewer.spots = this.corner ? [this.corner] : [];
    for (const { face, box } of this.kept) this.picker.cover(inBox(viewer.part.body, face, box).places, INK, { bothSides: true });
    this.good = false;
    this.find("now").textContent = this.measured();
    this.find("keep").disabled = !this.good;
    this.find("clear").disabled = this.face === null;
  }

  measured() {
    if (this.face === null) return "Click on a face: there is the first corner.";
    const { id } = this.picker.data.faces[this.face];
    if (this.corner) return `On face ${id}. Click the opposite corner.`;
    if (!this.box) return `On face ${id}. Six numbers make the box.`;
    if (this.box.low.some((v, k) => v >= this.box.high[k])) return "Low must lie below high in every direction.";
    const { places, area } = inBox(this.picker.viewer.part.body, this.face, this.box);
    if (!(area > 0)) return `The box misses face ${id}.`;
    this.good = true;
    this.picker.cover(places, INK, { bothSides: true });
    return `${areaText(area)} of face ${id}, ${areaText(this.picker.data.faces[this.face].area)}`;
  }

  told() {
    const now = this.good ? [{ name: this.name(), face: this.face, box: this.box }] : [];
    const lines = [...this.kept, ...now].map(({ name, face, box }) => {
      return `${keyText(name)} = ${ofBody(withCut(this.picker.data.faces[face].query, box), this.picker.body)}`;
    });
    const proof = lines.length ? "Of the face that the query matches, what lies inside the box counts." : "";
    return { under: "[faces]", lines, empty: "no patch yet", proof };
  }
}
