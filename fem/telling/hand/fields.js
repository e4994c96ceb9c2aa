// The values at the nodes, unpacked when first asked for.
import { unpackedField } from "./unpack.js";

export class Fields {
  constructor(data) {
    this.cases = data.cases;
    this.nodes = data.nodes;
    this.kept = new Map();
  }

  // A promise of one value a node: of a quantity that the page holds, or that follows from some
  of(caseName, key) {
    const name = `${caseName}\n${key}`;
    if (!this.kept.has(name)) this.kept.set(name, this.made(caseName, key));
    return this.kept.get(name);
  }

  async made(caseName, key) {
    if (key === "displacement") return lengths(await this.vector(caseName));
    if (key === "mises") return mises(await this.several(caseName, "principal", [0, 1, 2]));
    return unpackedField(this.cases[caseName][key]);
  }

  several(caseName, key, ends) {
    return Promise.all(ends.map((end) => this.of(caseName, `${key}_${end}`)));
  }

  // The displacement [mm], x y z after each other
  async vector(caseName) {
    const name = `${caseName}\nvector`;
    if (!this.kept.has(name)) {
      const [x, y, z] = await this.several(caseName, "displacement", ["x", "y", "z"]);
      const all = new Float32Array(3 * this.nodes);
      [x, y, z].forEach((axis, k) => {
        for (let i = 0; i < this.nodes; i++) all[3 * i + k] = axis[i];
      });
      this.kept.set(name, all);
    }
    return this.kept.get(name);
  }
}

function lengths(vectors) {
  const out = new Float32Array(vectors.length / 3);
  for (let i = 0; i < out.length; i++) out[i] = Math.hypot(vectors[3 * i], vectors[3 * i + 1], vectors[3 * i + 2]);
  return out;
}

// The stress that von Mises' criterion compares with a yield stress, from principal stresses
function mises([a, b, c]) {
  return a.map((_, i) => Math.sqrt(((a[i] - b[i]) ** 2 + (b[i] - c[i]) ** 2 + (c[i] - a[i]) ** 2) / 2));
}

// The value at corners with weights that add up to one
export function blended(values, nodes, weights) {
  let sum = 0;
  for (let i = 0; i < nodes.length; i++) sum += values[nodes[i]] * weights[i];
  return sum;
}
