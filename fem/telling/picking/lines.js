// Lines of a study, as it reads them: numbers, places, names, faces.

// A number without powers of ten, rounded to so many decimals
export function decimals(value, places) {
  const text = (Math.round(value * 10 ** places) / 10 ** places || 0).toFixed(places);
  return text.includes(".") ? text.replace(/\.?0+$/, "") : text;
}

export function placeText(at, places) {
  return `[${at.map((v) => `"${decimals(v, places)} mm"`).join(", ")}]`;
}

export function wayText(way) {
  return `[${way.map((v) => decimals(v, 5)).join(", ")}]`;
}

// A name as a key: bare where it may be, else in quotes; what may not stand in quotes is dropped
export function keyText(name) {
  if (/^[A-Za-z0-9_-]+$/.test(name)) return name;
  return `"${name.replace(/[\u0000-\u001f\u007f\ud800-\udfff]/g, "").replace(/[\\"]/g, "\\$&")}"`;
}

// The query with the body's name, which a study of several bodies needs
export function ofBody(query, body) {
  return body ? `{ body = ${quotedName(body)}, ${query.slice(2)}` : query;
}

function quotedName(name) {
  const key = keyText(name);
  return key.startsWith('"') ? key : `"${key}"`;
}

export function withCut(query, { low, high }) {
  return `${query.slice(0, -2)}, cut = { low = ${placeText(low, 2)}, high = ${placeText(high, 2)} } }`;
}

// `wanted`, or with the first number behind it that makes it new among `taken`
export function newName(wanted, taken) {
  let name = wanted;
  for (let n = 2; taken.includes(name); n++) name = `${wanted}_${n}`;
  return name;
}

export function areaText(area) {
  const places = area < 10 ? 2 : area < 1000 ? 1 : 0;
  return `${decimals(area, places)} mm²`;
}
