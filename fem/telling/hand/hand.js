// One viewer: unpacks its data, draws, and ties the controls to what is drawn.
import { followKey, followPointers, Eye } from "./camera.js";
import { rangeOf } from "./colours.js";
import {
  bodyChoice, caseChoice, cutChoice, deformationText, drawTripod, mostDeformation, placeList, quantityChoice, slider, valueTable,
} from "./controls.js";
import { make } from "./elements.js";
import { blended, Fields } from "./fields.js";
import { legendOf, millimetres, plain, titleOf, valueText } from "./legend.js";
import { Part } from "./parts.js";
import { dot, minus, plus } from "./pick.js";
import { arrowObject, PLACE_COLOURS } from "./sections.js";
import { unpacked, unpackedIndices, unpackedPlaces } from "./unpack.js";

async function bodyOf(data) {
  const [points, triangles, edges, straight, curved, [face], [of], ...supports] = await Promise.all([
    unpackedPlaces(data.points),
    unpackedIndices(data.triangles, 3),
    unpackedIndices(data.edges, 2),
    unpackedIndices(data.straight, 4),
    unpackedIndices(data.curved, 10),
    unpacked(data.face),
    data.body ? unpacked(data.body) : [null],
    ...data.supports.map((own) => unpacked(own.triangles, { bytes: 4 })),
  ]);
  return { points, triangles, edges, straight, curved, face, of, supports: supports.map(([t]) => ({ triangles: t })) };
}

class Viewer {
  constructor(root, data, body) {
    this.root = root;
    this.data = data;
    this.find = (name) => root.querySelector(`.hand-${name}`);
    this.canvas = this.find("canvas");
    this.renderer = new three.WebGLRenderer({ canvas: this.canvas, antialias: true, alpha: true });
    this.renderer.outputColorSpace = three.LinearSRGBColorSpace; // colours are painted as the legend has them
    this.renderer.setClearAlpha(0);
    this.part = new Part(body);
    this.fields = new Fields(data);
    const ends = data.arrows.flatMap(({ tail, tip }) => [...tail, ...tip]);
    this.eye = new Eye([...body.points, ...ends], data.diagonal);
    this.caseName = data.first;
    this.quantity = data.quantities[0] || null;
    this.place = null;
    this.spots = []; // places that a page marks
    this.arrows = new three.Group();
    this.part.world.add(this.arrows);
    this.asked = 0;
  }

  async start() {
    const { data } = this;
    PLACE_COLOURS.list = data.quantities.find((each) => each.key === "zone")?.scale.colours || [];
    caseChoice(this.find("cases"), Object.keys(data.cases), this.caseName, (name) => this.choose({ caseName: name }));
    quantityChoice(this.find("quantity"), data.quantities, (key) => this.choose({ key }));
    cutChoice(this.find("axis"), data.axes, data.sections);
    this.wireCut();
    this.wireShows();
    this.wireDeformation();
    this.find("section").append(...data.sections.map(({ name }, i) => make("option", { value: i }, name)));
    this.find("section").addEventListener("change", () => this.choose({}));
    for (const name of ["places", "deform"]) this.find(name).hidden = !this.caseName;
    followPointers(this.canvas, this.eye, { changed: () => this.draw(), clicked: (event) => this.click(event) });
    this.canvas.addEventListener("keydown", (event) => this.key(event));
    new ResizeObserver(() => this.resize()).observe(this.find("stage"));
    this.resize();
    await this.choose({});
    this.ready = true;
    this.render();
    this.root.dataset.drawn = String(Math.round(performance.now())); // [ms] since the page was opened
  }

  // Show another case or quantity
  async choose({ caseName = this.caseName, key = this.quantity?.key }) {
    this.caseName = caseName;
    const quantity = this.data.quantities.find((each) => each.key === key) || null;
    const other = quantity !== this.quantity;
    this.quantity = quantity;
    this.find("quantity").value = key ?? "";
    const asked = (this.asked += 1);
    const zones = quantity?.key === "zone";
    const painted = quantity && caseName && !zones;
    const [vector, values] = await Promise.all([
      caseName ? this.fields.vector(caseName) : null,
      painted ? this.fields.of(caseName, quantity.key) : null,
    ]);
    if (asked !== this.asked) return; // another choice came meanwhile
    if (vector && this.shownCase !== caseName) this.showCase(caseName, vector);
    this.part.paint(quantity, values, painted ? rangeOf(quantity, caseName) : null);
    this.find("scale").replaceChildren(...(quantity ? legendOf(quantity, caseName) : []));
    this.find("section-way").hidden = !zones;
    this.find("axis").closest(".hand-way").hidden = zones;
    await this.showZones(zones, other);
    this.tell();
    this.draw();
  }

  showCase(name, vector) {
    this.shownCase = name;
    this.part.follow(vector);
    placeList(this.find("places ol"), this.find("marks"), this.data.marks[name] || [], (i) => this.fly(i));
    this.arrows.clear();
    for (const arrow of this.data.arrows) if (name in arrow.factors) this.arrows.add(arrowObject(arrow, this.data.diagonal));
    this.here = null;
    this.find("deform").hidden = !(this.mostDeformation() > 0);
    this.sayDeformation();
    this.setDeformation();
  }

  async showZones(on, other) {
    const section = on ? this.data.sections[Number(this.find("section").value)] : null;
    this.find("deform").hidden = on || !(this.mostDeformation() > 0);
    if (on) this.place = null; // a section tells zones, no values
    this.setDeformation();
    await this.part.showSection(section);
    if (section) this.part.cutAt(this.toEye(section), { capped: false });
    else if (other) this.setCut();
  }

  // The plane of a section with the half nearer to the eye cut away
  toEye({ normal, offset }) {
    const [, , towards] = this.eye.axes();
    return dot(normal, towards) >= 0 ? { normal, offset } : { normal: normal.map((v) => -v), offset: -offset };
  }

  wireCut() {
    const changed = () => {
      this.setCut();
      this.draw();
    };
    this.find("axis").addEventListener("change", () => {
      for (const name of ["offset", "flip"]) this.find(name).disabled = this.find("axis").value === "";
      this.half = null;
      this.saySlide();
      changed();
    });
    this.saySlide = slider(this.find("offset"), this.find("offset-text"), () => this.cutText(), changed);
    this.find("flip").addEventListener("change", changed);
  }

  // Normal and place [mm] of the cut that the controls ask for; null for none
  plane() {
    const chosen = this.find("axis").value;
    if (chosen === "") return null;
    const { along } = this.data.axes[Number(chosen)];
    const [low, high] = this.extent(along);
    // The ends of the slider lie a hair inside, so that a cut is never empty
    const share = 0.002 + (0.996 * Number(this.find("offset").value)) / 1000;
    return { along, offset: low + share * (high - low) };
  }

  extent(along) {
    const { points } = this.part.body;
    let [low, high] = [Infinity, -Infinity];
    for (let i = 0; i < points.length; i += 3) {
      const at = along[0] * points[i] + along[1] * points[i + 1] + along[2] * points[i + 2];
      low = Math.min(low, at);
      high = Math.max(high, at);
    }
    return [low, high];
  }

  cutText() {
    const plane = this.plane();
    if (!plane) return "";
    const { name } = this.data.axes[Number(this.find("axis").value)];
    return `${name} = ${millimetres(plane.offset)} mm`;
  }

  setCut() {
    const plane = this.plane();
    if (!plane) return this.part.cutAt(null);
    const [, , towards] = this.eye.axes();
    this.half ??= dot(plane.along, towards) >= 0 ? 1 : -1; // the half nearer to the eye goes, until the axis changes
    const sign = this.half * (this.find("flip").checked ? -1 : 1);
    return this.part.cutAt({ normal: plane.along.map((v) => v * sign), offset: plane.offset * sign });
  }

  wireShows() {
    for (const name of ["show-arrows", "show-supports"]) this.find(name).addEventListener("change", () => this.draw());
    this.find("show-arrows").closest("label").hidden = this.data.arrows.length === 0;
    this.find("show-supports").closest("label").hidden = this.data.supports.length === 0;
    bodyChoice(this.find("bodies"), this.data.bodies || [], (gone) => {
      this.part.without(gone);
      this.draw();
    });
    this.find("reset").addEventListener("click", () => {
      this.eye.reset();
      this.draw();
    });
  }

  wireDeformation() {
    const told = () => deformationText(this.deformation());
    this.sayDeformation = slider(this.find("deformation"), this.find("deformation-text"), told, () => {
      this.setDeformation();
      this.draw();
    });
  }

  mostDeformation() {
    const tops = this.data.quantities.find((each) => each.key === "displacement")?.tops || {};
    return mostDeformation(this.data.diagonal, tops[this.caseName]);
  }

  deformation() {
    return (this.mostDeformation() * Number(this.find("deformation").value)) / 100;
  }

  setDeformation() {
    this.part.deform(this.quantity?.key === "zone" ? 0 : this.deformation());
  }

  key(event) {
    const places = this.data.marks[this.caseName] || [];
    const index = Number(event.key) - 1;
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    if (followKey(event, this.eye)) this.draw();
    else if (event.key === "Enter" || event.key === " ") this.ask(0.5, 0.5);
    else if (index in places) this.fly(index);
    else return;
    event.preventDefault();
  }

  click(event) {
    const box = this.canvas.getBoundingClientRect();
    this.ask((event.clientX - box.left) / box.width, (event.clientY - box.top) / box.height);
  }

  // The values at a point of the picture, given in shares of it; null beside the part
  async ask(across, down) {
    this.place = this.part.sections ? null : this.part.hit(...this.eye.line(across, down));
    await this.tell();
    this.draw();
    this.root.dispatchEvent(new CustomEvent("picked", { detail: this.told || null }));
    return this.told;
  }

  // Write the values at the chosen place
  async tell() {
    const { place } = this;
    this.find("hint").hidden = Boolean(place);
    this.told = null;
    if (!place) return valueTable(this.find("values dl"), []);
    const quantities = this.caseName ? this.data.quantities.filter(({ key, skin }) => key !== "zone" && !(skin && place.face === null)) : [];
    const fields = await Promise.all(quantities.map(({ key }) => this.fields.of(this.caseName, key)));
    const values = Object.fromEntries(quantities.map(({ key }, i) => [key, blended(fields[i], place.nodes, place.weights)]));
    const at = [0, 1, 2].map((k) => place.nodes.reduce((sum, n, i) => sum + this.part.body.points[3 * n + k] * place.weights[i], 0));
    const face = place.face === null ? "inside" : this.data.faces[place.face];
    const spot = at.map(millimetres).join(", ");
    const rows = [["x, y, z", `${spot} mm`], ["face", face]];
    for (const each of quantities) rows.push([each.key.startsWith("bead") ? each.sign : each.sign ? `${each.name.replace(" stress", "")} ${each.sign}` : each.name, valueText(each, values[each.key])]);
    valueTable(this.find("values dl"), rows);
    const main = this.quantity && this.quantity.key in values ? `${titleOf(this.quantity)}: ${valueText(this.quantity, values[this.quantity.key])}` : "";
    this.find("said").textContent = `At ${spot} mm, ${face}. ${main}`;
    this.told = { at, face: place.face, values };
    return this.told;
  }

  // Look at a numbered place, and tell its values
  fly(index) {
    const place = this.data.marks[this.caseName][index];
    this.here = index;
    const outward = this.part.normalAt(place.at);
    this.eye.fly(this.drawnAt(place.at), outward, () => this.draw());
  }

  drawnAt(place) {
    return plus(place, this.part.movedAt(place), this.part.shared.deformation.value);
  }

  // Light up faces of the solid by their numbers, for pages that choose faces
  light(faces, faint = []) {
    this.part.light(faces, faint);
    this.draw();
  }

  hide(faces) {
    this.part.hide(faces);
    this.draw();
  }

  resize() {
    const { clientWidth: wide, clientHeight: high } = this.find("stage");
    if (!wide || !high) return;
    this.renderer.setPixelRatio(Math.min(window.devicePixelRatio || 1, 2));
    this.renderer.setSize(wide, high, false);
    this.eye.resize(wide / high);
    if (this.ready) this.render();
  }

  // Draw when the browser next does, however often it was asked for
  draw() {
    if (this.ready) this.waiting ??= requestAnimationFrame(() => this.render());
  }

  render() {
    this.waiting = null;
    this.arrows.visible = this.find("show-arrows").checked;
    this.part.supports.visible = this.find("show-supports").checked;
    this.renderer.render(this.part.world, this.eye.placed());
    this.label();
    clearTimeout(this.settling);
    this.settling = setTimeout(() => this.settle(), 250);
  }

  // Numbers, names of loads and axes over the picture
  label() {
    const places = this.data.marks[this.caseName] || [];
    const put = (element, at) => {
      const [across, down] = this.eye.shares(at);
      element.style.left = `${100 * across}%`;
      element.style.top = `${100 * down}%`;
    };
    [...this.find("marks").children].forEach((mark, i) => {
      const { at } = places[i];
      put(mark, this.drawnAt(at));
      const cut = this.part.cut;
      mark.hidden = Boolean(cut) && dot(at, cut.normal) - cut.offset > 0.004 * this.data.diagonal;
      mark.classList.toggle("here", i === this.here);
    });
    [...this.find("places ol").querySelectorAll("button")].forEach((row, i) => {
      if (i === this.here) row.setAttribute("aria-current", "true");
      else row.removeAttribute("aria-current");
    });
    const labels = this.find("labels");
    labels.replaceChildren();
    if (this.place) {
      const spot = make("span", { class: "spot" });
      labels.append(spot);
      put(spot, this.place.at);
    }
    for (const at of this.spots) put(labels.appendChild(make("span", { class: "spot" })), at);
    for (const [text, at] of this.arrows.visible ? this.loadNames() : []) {
      const name = labels.appendChild(make("span", {}, text));
      put(name, at);
      if (name.offsetLeft + name.offsetWidth > labels.clientWidth) name.style.transform = "translateX(-100%)";
    }
    drawTripod(this.find("tripod"), this.data.axes, this.eye.axes());
  }

  // One name for all arrows of a load that say the same
  loadNames() {
    const out = new Map();
    for (const arrow of this.data.arrows) {
      const factor = arrow.factors[this.shownCase];
      if (!factor) continue;
      const text = `${arrow.name}: ${factor === 1 ? "" : `${plain(factor)} × `}${arrow.label}`;
      if (!out.has(text)) out.set(text, arrow.tail);
    }
    return out;
  }

  // When nothing moves: numbers behind the part are drawn faint, and the picture for print is kept
  settle() {
    const places = this.data.marks[this.caseName] || [];
    const [, , towards] = this.eye.axes();
    [...this.find("marks").children].forEach((mark, i) => {
      const at = this.drawnAt(places[i].at);
      const hit = this.part.hit(plus(at, towards, 4 * this.data.diagonal), towards.map((v) => -v));
      mark.classList.toggle("behind", Boolean(hit) && dot(minus(hit.at, at), towards) > 0.01 * this.data.diagonal);
    });
    this.renderer.render(this.part.world, this.eye.placed());
    this.find("print").src = this.canvas.toDataURL("image/png");
  }
}

// Start a viewer; where the browser cannot draw, its still picture stays and a line says why
async function startHand(root) {
  if (root.hand) return root.hand;
  const sorry = root.querySelector(".hand-sorry[role]");
  try {
    const data = JSON.parse(root.querySelector(".hand-data").textContent);
    root.hand = new Viewer(root, data, await bodyOf(data));
    await root.hand.start();
    root.querySelector(".hand-still")?.remove();
    root.dispatchEvent(new CustomEvent("drawn"));
  } catch (fault) {
    sorry.textContent = `This browser cannot draw the part (${fault.message}).`;
    sorry.hidden = false;
    root.dataset.drawn = "none";
  }
  return root.hand;
}

window.startHand = startHand;
for (const root of document.querySelectorAll(".hand")) startHand(root);
