// Faces that are picked one by one or by family, and the query that matches just these.
import { FaceList } from "./list.js";
import { areaText, keyText, newName, ofBody } from "./lines.js";

export class Faces {
  constructor(picker) {
    this.picker = picker;
    this.data = picker.data;
    this.section = picker.section("faces");
    this.chosen = new Set();
    this.last = null;
    this.kept = [];
    this.hidden = new Set();
    this.groups = new Map(this.data.groups.map((group) => [group.faces.join(), group]));
    this.find = (name) => this.section.querySelector(`.pick-${name}`);
    this.list = new FaceList(this.find("list"), this.data.faces, {
      moved: (i) => picker.point(i),
      toggled: (i) => this.picked(i),
    });
    for (const button of this.section.querySelectorAll("[data-family]")) {
      button.addEventListener("click", () => this.family(button.dataset.family));
    }
    this.find("clear").addEventListener("click", () => this.pick([]));
    this.find("hide").addEventListener("click", () => this.hide([...this.hidden, ...this.chosen]));
    this.find("show").addEventListener("click", () => this.hide([]));
    this.find("name").addEventListener("input", () => {
      this.named = this.find("name").value.trim() !== "";
      picker.write();
    });
    this.find("each").addEventListener("change", () => picker.write());
    this.find("keep").addEventListener("click", () => this.keep());
  }

  picked(face) {
    const next = new Set(this.chosen);
    if (!next.delete(face)) next.add(face);
    this.last = next.has(face) ? face : ([...next].at(-1) ?? null);
    this.pick(next);
  }

  pick(faces) {
    this.chosen = new Set(faces);
    if (!this.chosen.size) this.last = null;
    this.picker.redraw();
  }

  // Add the family of what is picked: growing starts from all faces, the others from the last one
  family(kind) {
    if (this.last === null) return;
    const from = kind === "grown" ? [...this.chosen] : [this.last];
    this.pick([...this.chosen, ...from.flatMap((face) => this.familyOf(face, kind))]);
  }

  familyOf(face, kind) {
    const group = this.data.faces[face][kind];
    return group === null ? [] : this.data.groups[group].faces;
  }

  hide(faces) {
    this.hidden = new Set(faces);
    this.picker.viewer.hide(this.hidden);
    this.pick([]);
  }

  keep() {
    if (!this.chosen.size) return;
    this.kept.push({ name: this.name(), faces: this.sorted(), each: this.find("each").checked });
    this.named = false;
    this.pick([]);
    this.find("list").focus({ preventScroll: true });
  }

  sorted() {
    return [...this.chosen].sort((a, b) => a - b);
  }

  lit() {
    return this.chosen;
  }

  draw() {
    const faces = this.sorted();
    this.list.show(this.chosen);
    const area = faces.reduce((sum, i) => sum + this.data.faces[i].area, 0);
    const one = faces.length === 1 ? `face ${this.data.faces[faces[0]].id}: ${this.data.faces[faces[0]].what}` : `${faces.length} faces, ${areaText(area)}`;
    this.find("now").textContent = faces.length ? `Picked ${one}` : "Click on a face, or choose in the list.";
    for (const button of this.section.querySelectorAll("[data-family]")) {
      const { family } = button.dataset;
      const from = family === "grown" ? faces : this.last === null ? [] : [this.last];
      button.disabled = !from.some((face) => this.familyOf(face, family).some((i) => !this.chosen.has(i)));
    }
    for (const name of ["clear", "hide", "keep"]) this.find(name).disabled = !faces.length;
    this.find("show").disabled = !this.hidden.size;
    if (!this.named) this.find("name").value = faces.length ? this.suggested(faces) : "";
  }

  suggested(faces) {
    const known = this.groups.get(faces.join())?.name || (faces.length === 1 && this.data.faces[faces[0]].name);
    return newName(known || (faces.length === 1 ? "face" : "faces"), this.kept.map(({ name }) => name));
  }

  name() {
    return newName(this.find("name").value.trim() || "faces", this.kept.map(({ name }) => name));
  }

  told() {
    const now = this.chosen.size ? [{ name: this.name(), faces: this.sorted(), each: this.find("each").checked }] : [];
    const taken = [];
    const lines = [...this.kept, ...now].flatMap((each) => this.linesOf(each, taken));
    const numbers = lines.some((line) => line.includes("id = ["));
    if (numbers) lines.unshift(`# The numbers after id are those of ${this.data.file} as it is now`);
    const proof = numbers
      ? "Each line matches just what was lit. Numbers hold for this file only: look again when it is drawn anew."
      : "Each line was tried on this file and matches just what was lit.";
    return { under: "[faces]", lines, empty: "nothing picked yet", proof: lines.length ? proof : "" };
  }

  linesOf({ name, faces, each }, taken) {
    const groups = each && faces.length > 1 ? faces.map((face) => [face]) : [faces];
    return groups.map((group, n) => {
      const own = newName(groups.length > 1 ? `${name}_${n + 1}` : name, taken);
      taken.push(own);
      return `${keyText(own)} = ${ofBody(this.query(group), this.picker.body)}   # ${this.words(group)}`;
    });
  }

  // The shortest query where one is known, else the numbers of the faces
  query(faces) {
    if (faces.length === 1) return this.data.faces[faces[0]].query;
    return this.groups.get(faces.join())?.query ?? `{ id = [${faces.map((i) => this.data.faces[i].id).join(", ")}] }`;
  }

  words(faces) {
    if (faces.length === 1) return this.data.faces[faces[0]].what;
    return `${faces.length} faces, ${areaText(faces.reduce((sum, i) => sum + this.data.faces[i].area, 0))}`;
  }
}
