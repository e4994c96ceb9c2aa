// A point: clicked, or given by its coordinates.
import { keyText, newName, placeText } from "./lines.js";
import { numberInputs, placeWords } from "./picker.js";

export class Point {
  constructor(picker) {
    this.picker = picker;
    this.section = picker.section("point");
    this.kept = [];
    this.at = null;
    this.find = (name) => this.section.querySelector(`.pick-${name}`);
    this.numbers = numberInputs(this.find("numbers"), ["x", "y", "z"], () => {
      this.at = this.numbers.read();
      this.picker.redraw();
    });
    this.find("name").addEventListener("input", () => picker.write());
    this.find("keep").addEventListener("click", () => {
      this.kept.push({ name: this.name(), at: this.at });
      this.at = null;
      this.numbers.show(null);
      picker.redraw();
    });
  }

  picked(_, at) {
    this.at = at;
    this.numbers.show(at);
    this.picker.redraw();
  }

  name() {
    return newName(this.find("name").value.trim() || "point", this.kept.map(({ name }) => name));
  }

  lit() {
    return [];
  }

  draw() {
    this.picker.viewer.spots = [...this.kept.map(({ at }) => at), ...(this.at ? [this.at] : [])];
    this.find("now").textContent = this.at ? `Picked ${placeWords(this.at)}` : "Click on the solid, or give a place.";
    this.find("keep").disabled = !this.at;
  }

  told() {
    const now = this.at ? [{ name: this.name(), at: this.at }] : [];
    const lines = [...this.kept, ...now].map(({ name, at }) => `${keyText(name)} = ${placeText(at, 2)}`);
    return { under: "[points]", lines, empty: "no point yet", proof: lines.length ? "Rounded to 0.01 mm." : "" };
  }
}
