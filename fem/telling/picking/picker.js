// The page around the part: what is picked, and the lines of a study that say just that.
import { make } from "../hand/elements.js";
import { millimetres } from "../hand/legend.js";
import { BuildDirection } from "./build.js";
import { Faces } from "./faces.js";
import { Patch } from "./patch.js";
import { Point } from "./point.js";

class Picker {
  constructor(viewer, data) {
    Object.assign(this, { viewer, data });
    this.find = (name) => document.querySelector(`.pick-${name}`);
    this.overlay = new three.Group();
    viewer.part.world.add(this.overlay);
    this.modes = { faces: new Faces(this), point: new Point(this), patch: new Patch(this), build: new BuildDirection(this) };
    for (const radio of document.querySelectorAll("[name=pick-mode]")) {
      radio.addEventListener("change", () => this.choose(radio.value));
    }
    viewer.root.addEventListener("picked", ({ detail }) => {
      if (detail && detail.face !== null) this.mode.picked(detail.face, detail.at);
    });
    this.find("body").addEventListener("input", () => this.write());
    this.find("copy").addEventListener("click", () => this.copy());
    this.followPointer();
    this.choose("faces");
  }

  get body() {
    return this.find("body").value.trim();
  }

  section(name) {
    return document.querySelector(`[data-mode=${name}]`);
  }

  choose(name) {
    this.mode?.left?.();
    this.mode = this.modes[name];
    this.name = name;
    for (const section of document.querySelectorAll(".pick-mode")) section.hidden = section.dataset.mode !== name;
    this.find("body-row").hidden = name === "point" || name === "build";
    this.redraw();
  }

  // What is under the pointer lights up faintly; once a picture at most
  followPointer() {
    const { canvas } = this.viewer;
    const seen = (event) => {
      const box = canvas.getBoundingClientRect();
      const place = this.viewer.eye.line((event.clientX - box.left) / box.width, (event.clientY - box.top) / box.height);
      this.point(this.viewer.part.hit(...place)?.face ?? null);
    };
    canvas.addEventListener("pointermove", (event) => {
      if (event.buttons || event.pointerType === "touch") return;
      this.pointer ??= requestAnimationFrame(() => {
        this.pointer = null;
        seen(event);
      });
    });
    canvas.addEventListener("pointerleave", () => this.point(null));
  }

  point(face) {
    if (face === this.under) return;
    this.under = face;
    const told = face === null ? null : this.data.faces[face];
    this.find("pointed").textContent = told ? `Face ${told.id}: ${told.what}` : "";
    this.light();
  }

  light() {
    this.viewer.light(this.mode.lit(), this.under === null || this.under === undefined ? [] : [this.under]);
  }

  // Places of triangles laid over the picture in one colour
  cover(places, ink, { bothSides = false } = {}) {
    const count = places.length / 3;
    const geometry = geometryOf({ position: [places, 3], moved: [new Float32Array(count * 3), 3] });
    const material = inkMaterial(this.viewer.part.shared, { ink: rgb(ink) });
    material.side = bothSides ? three.DoubleSide : three.FrontSide;
    const mesh = new three.Mesh(geometry, material);
    mesh.frustumCulled = false;
    this.overlay.add(mesh);
  }

  // Everything that follows from what is picked
  redraw() {
    for (const old of this.overlay.children) old.geometry.dispose();
    this.overlay.clear();
    this.viewer.place = null; // what is picked is shown otherwise
    this.viewer.spots = [];
    this.mode.draw?.();
    this.light();
    this.write();
  }

  write() {
    const { under, lines, empty, proof } = this.mode.told();
    this.find("under").textContent = under;
    this.find("text").textContent = lines.length ? lines.join("\n") : `# ${empty}`;
    this.find("copy").disabled = lines.length === 0;
    this.find("proof").textContent = proof;
    this.find("copied").textContent = "";
    this.find("kept").replaceChildren(
      ...(this.mode.kept || []).map(({ name }, i) => {
        const drop = make("button", { type: "button", "aria-label": `Drop ${name}` }, `${name} ×`);
        drop.addEventListener("click", () => {
          this.mode.kept.splice(i, 1);
          this.redraw();
          this.find("text").focus();
        });
        return drop;
      }),
    );
  }

  async copy() {
    const pre = this.find("text");
    const said = this.find("copied");
    try {
      await navigator.clipboard.writeText(`${pre.textContent}\n`);
      said.textContent = "Copied.";
    } catch {
      const selection = window.getSelection();
      selection.selectAllChildren(pre);
      said.textContent = document.execCommand("copy") ? "Copied." : "Selected: copy it with your browser.";
    }
  }
}

// Number inputs with their names, and what they hold
export function numberInputs(box, names, changed) {
  const inputs = names.map((name) => {
    const input = make("input", { type: "number", step: "0.1", "aria-label": `${name} in mm` });
    input.addEventListener("input", changed);
    box.append(make("label", {}, make("span", {}, name), input));
    return input;
  });
  return {
    show: (values) => inputs.forEach((input, i) => (input.value = values ? String(Number(values[i].toFixed(2))) : "")),
    read: () => {
      const values = inputs.map((input) => (input.value.trim() === "" ? NaN : Number(input.value)));
      return values.every(Number.isFinite) ? values : null;
    },
  };
}

export function placeWords(at) {
  return `(${at.map(millimetres).join(", ")}) mm`;
}

const root = document.querySelector("#solid");
root.addEventListener("drawn", () => {
  window.picker = new Picker(root.hand, JSON.parse(document.querySelector(".pick-data").textContent));
  document.body.dataset.ready = "yes";
});
