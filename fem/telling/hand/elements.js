// An element with its attributes and what it holds; an attribute that is false or undefined is left out.
export function make(name, attributes = {}, ...children) {
  const out = document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) {
    if (value !== undefined && value !== false) out.setAttribute(key, value === true ? "" : value);
  }
  out.append(...children);
  return out;
}
