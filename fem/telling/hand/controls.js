// The lists, sliders and buttons beside the picture, and what they say.
import { make } from "./elements.js";
import { plain } from "./legend.js";

// One radio button a case; nothing to choose among one
export function caseChoice(box, names, chosen, pick) {
  box.hidden = names.length < 2;
  for (const name of names) {
    const input = make("input", { type: "radio", name: `${box.closest(".hand").id}-case`, value: name });
    input.checked = name === chosen;
    input.addEventListener("change", () => pick(name));
    box.append(make("label", {}, input, make("span", {}, name)));
  }
}

// One check box a body, which shows or hides it; nothing to choose among one
export function bodyChoice(box, names, changed) {
  box.hidden = names.length < 2;
  const inputs = names.map((name) => {
    const input = make("input", { type: "checkbox", value: name });
    input.checked = true;
    input.addEventListener("change", () => changed(inputs.flatMap((each, i) => (each.checked ? [] : [i]))));
    box.append(make("label", { class: "hand-check" }, input, ` ${name}`));
    return input;
  });
}

// The quantities in their groups
export function quantityChoice(select, quantities, pick) {
  const groups = new Map();
  for (const { key, name, sign, group } of quantities) {
    if (!groups.has(group)) groups.set(group, make("optgroup", { label: group }));
    groups.get(group).append(make("option", { value: key }, sign && !name.startsWith(sign) ? `${name} ${sign}` : name));
  }
  select.append(...groups.values());
  select.closest("label").hidden = quantities.length === 0;
  select.addEventListener("change", () => pick(select.value));
}

// Which plane cuts: none, across one of the axes, or one of the printed sections
export function cutChoice(select, axes, sections) {
  select.append(make("option", { value: "" }, "nothing"));
  axes.forEach(({ name, build }, i) => {
    const short = name.startsWith("build") ? name.replace("build", "build direction") : `${name} axis`;
    select.append(make("option", { value: String(i) }, build && short.includes("axis") ? `${short}, ${build}` : short));
  });
  return sections.length;
}

// A slider with its text; `told` says what a value means
export function slider(input, output, told, moved) {
  const say = () => {
    output.textContent = told(Number(input.value));
    input.setAttribute("aria-valuetext", output.textContent);
  };
  input.addEventListener("input", () => {
    say();
    moved(Number(input.value));
  });
  return say;
}

// The list of numbered places, and the same numbers over the picture
export function placeList(list, marks, places, fly) {
  list.replaceChildren();
  marks.replaceChildren();
  list.closest(".hand-places").hidden = places.length === 0;
  places.forEach((place, i) => {
    const spoken = `Place ${i + 1}: reserve factor ${place.value}, ${place.text}. Go there`;
    const row = make("button", { type: "button", "aria-label": spoken });
    row.append(make("span", { class: "hand-number" }, String(i + 1)), make("b", {}, place.value), make("span", {}, place.text));
    row.addEventListener("click", () => fly(i));
    list.append(make("li", {}, row));
    const mark = make("button", { type: "button", class: "hand-mark", tabindex: "-1", "aria-hidden": "true" }, String(i + 1));
    mark.addEventListener("click", () => fly(i));
    marks.append(mark);
  });
}

// Names and values of a place, one a row
export function valueTable(box, rows) {
  box.replaceChildren(...rows.flatMap(([name, text]) => [make("dt", {}, name), make("dd", {}, text)]));
}

// How large the slider's end draws displacements: about a tenth of the part's size, a round number
export function mostDeformation(diagonal, largest) {
  if (!(largest > 0)) return 0;
  const wanted = (0.12 * diagonal) / largest;
  const power = 10 ** Math.floor(Math.log10(wanted));
  return power * [5, 2, 1].find((v) => v * power <= wanted);
}

export function deformationText(scale) {
  if (scale === 0) return "undeformed";
  return scale === 1 ? "× 1, true to scale" : `× ${plain(scale)}`;
}

// The part's axes as drawn in a corner of the picture
export function drawTripod(svg, axes, [right, up, towards]) {
  const dotted = (a, b) => a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
  const drawn = axes.map(({ name, along, build }) => ({
    name: build && name.length > 1 ? "3" : name,
    build,
    x: 40 + 26 * dotted(along, right),
    y: 40 - 26 * dotted(along, up),
    depth: dotted(along, towards),
  }));
  drawn.sort((a, b) => a.depth - b.depth);
  const line = ({ x, y, name, build }) => {
    const [tx, ty] = [40 + (x - 40) * 1.32, 40 + (y - 40) * 1.32];
    const heavy = build === "build direction" ? ' class="up"' : "";
    return `<line x1="40" y1="40" x2="${x}" y2="${y}"${heavy}/><text x="${tx}" y="${ty + 4}">${name}</text>`;
  };
  svg.innerHTML = drawn.map(line).join("");
}
