// The scale under the picture, and numbers as text.
import { rangeOf } from "./colours.js";
import { make } from "./elements.js";

// A number with about three digits
export function number(value, digits = 3) {
  if (value === 0) return "0";
  const size = Math.abs(value);
  if (size < 1e-4 || size >= 1e6) return value.toExponential(digits - 1).replace("e", "·10^").replace("^+", "^");
  const after = Math.max(0, digits - 1 - Math.floor(Math.log10(size)));
  return signed(value.toFixed(Math.min(after, 8)));
}

function signed(text) {
  return text.replace("-", "−");
}

// A factor without noughts at its end
export function plain(value) {
  return String(Number(value.toPrecision(3)));
}

// A place to a tenth of a millimetre
export function millimetres(value) {
  return signed((Math.round(10 * value) / 10 || 0).toFixed(1));
}

// A reserve factor from what is painted, 1 / reserve; rounded down, so that it never reads better than it is
export function reserveText(use, top) {
  if (use <= 0) return "unlimited";
  if (use >= top) return `below ${number(1 / top)}`;
  const reserve = 1 / use;
  if (reserve > 1000) return "over 1000";
  const step = reserve < 10 ? 100 : reserve < 100 ? 10 : 1;
  return String(Math.floor(reserve * step + 1e-9) / step);
}

export function valueText(quantity, value) {
  if (quantity.key === "reserve") return reserveText(value, quantity.top);
  return `${number(value)} ${quantity.unit}`;
}

// Title, colours and numbers of a quantity's scale
export function legendOf(quantity, caseName) {
  const title = make("p", { class: "hand-scale-title" }, titleOf(quantity));
  const { kind } = quantity.scale;
  const scale = kind === "bands" ? bands(quantity) : kind === "names" ? names(quantity) : even(quantity, caseName);
  return [title, scale];
}

export function titleOf(quantity) {
  const sign = quantity.sign && !quantity.name.startsWith(quantity.sign) ? ` ${quantity.sign}` : "";
  const name = quantity.name[0].toUpperCase() + quantity.name.slice(1);
  return `${quantity.name.startsWith("σ") || quantity.name.startsWith("τ") ? quantity.name : name}${sign}${quantity.unit ? ` [${quantity.unit}]` : ""}`;
}

function bands({ scale }) {
  const out = make("div", { class: "hand-bands" });
  scale.colours.forEach((colour, i) => {
    const band = make("div", { class: "hand-band" });
    band.append(make("i", { style: `background:${colour}` }));
    if (i > 0) {
      const mark = make("span", {}, scale.labels[i - 1]);
      if (scale.words[i - 1]) mark.append(make("b", {}, scale.words[i - 1]));
      band.append(mark);
    }
    out.append(band);
  });
  return out;
}

function even(quantity, caseName) {
  const [low, high] = rangeOf(quantity, caseName);
  const out = make("div", { class: "hand-even" });
  out.append(make("i", { style: `background:linear-gradient(90deg,${quantity.scale.colours.join(",")})` }));
  const row = make("div", { class: "hand-ticks" });
  for (let i = 0; i <= 4; i++) row.append(make("span", {}, number(low + ((high - low) * i) / 4)));
  out.append(row);
  return out;
}

function names({ scale }) {
  const out = make("ul", { class: "hand-names" });
  scale.names.forEach((name, i) => {
    if (!name) return;
    out.append(make("li", {}, make("i", { style: `background:${scale.colours[i]}` }), name));
  });
  return out;
}
