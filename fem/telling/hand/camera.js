// Where the eye is: a parallel view that turns about the part's z, and how mouse, touch and keys move it.
import { cross, dot, minus, plus, unit } from "./pick.js";

const FLAT = 1.553; // 89 degrees: the eye never passes over the pole
const CALM = window.matchMedia("(prefers-reduced-motion: reduce)");
export const STEP = Math.PI / 24;

export class Eye {
  // `points` (x y z after each other) [mm] are what the whole view shows
  constructor(points, diagonal) {
    this.points = points;
    this.diagonal = diagonal;
    this.camera = new three.OrthographicCamera();
    this.aspect = 1.5;
    this.flight = null;
    this.home = { azimuth: Math.atan2(-1, 0.9), tilt: Math.atan2(0.75, Math.hypot(0.9, 1)) };
    this.reset();
  }

  // The corner that the report's pictures look from, the whole part filling the view
  reset() {
    Object.assign(this, this.home);
    Object.assign(this, this.fitted());
    this.whole = this.half;
  }

  fitted() {
    const [right, up, towards] = this.axes();
    const low = [Infinity, Infinity, Infinity];
    const high = [-Infinity, -Infinity, -Infinity];
    for (let i = 0; i < this.points.length; i += 3) {
      const p = [this.points[i], this.points[i + 1], this.points[i + 2]];
      [right, up, towards].forEach((axis, k) => {
        const at = dot(p, axis);
        low[k] = Math.min(low[k], at);
        high[k] = Math.max(high[k], at);
      });
    }
    const middle = low.map((v, k) => (v + high[k]) / 2);
    const focal = plus(plus(plus([0, 0, 0], right, middle[0]), up, middle[1]), towards, middle[2]);
    return { focal, half: (Math.max(high[1] - low[1], (high[0] - low[0]) / this.aspect) / 2) * 1.16 };
  }

  // Unit vectors to the right, upward, and to the eye
  axes() {
    const towards = [
      Math.cos(this.tilt) * Math.cos(this.azimuth),
      Math.cos(this.tilt) * Math.sin(this.azimuth),
      Math.sin(this.tilt),
    ];
    const right = [-Math.sin(this.azimuth), Math.cos(this.azimuth), 0];
    return [right, cross(towards, right), towards];
  }

  resize(aspect) {
    const whole = Math.abs(this.half - this.whole) < 1e-9;
    this.aspect = aspect;
    if (whole) this.reset();
  }

  turn(azimuth, tilt) {
    this.flight = null;
    this.azimuth += azimuth;
    this.tilt = Math.min(Math.max(this.tilt + tilt, -FLAT), FLAT);
  }

  // Move the part by shares of the picture's height, to the right and up
  move(across, up) {
    this.flight = null;
    const [right, over] = this.axes();
    this.focal = plus(plus(this.focal, right, -2 * across * this.half), over, -2 * up * this.half);
  }

  zoom(factor) {
    this.flight = null;
    this.half = Math.min(Math.max(this.half / factor, this.diagonal / 400), this.diagonal * 4);
  }

  // Go to a place [mm] and look at it against `outward`; `then` is called for each step
  fly(place, outward, then) {
    const [x, y, z] = unit(outward);
    const goal = { focal: place, half: this.diagonal * 0.14 };
    const level = Math.hypot(x, y) < 0.05;
    goal.azimuth = level ? this.azimuth : nearest(Math.atan2(y, x) + 0.35, this.azimuth);
    goal.tilt = Math.min(Math.max(Math.asin(z), -1.2), 1.2) * 0.75 + 0.15;
    const from = { focal: this.focal, half: this.half, azimuth: this.azimuth, tilt: this.tilt };
    const flight = {};
    this.flight = flight;
    const begun = performance.now();
    const step = () => {
      if (this.flight !== flight) return;
      const share = CALM.matches ? 1 : Math.min((performance.now() - begun) / 450, 1);
      const eased = share * share * (3 - 2 * share);
      for (const key of ["half", "azimuth", "tilt"]) this[key] = from[key] + (goal[key] - from[key]) * eased;
      this.focal = plus(from.focal, minus(goal.focal, from.focal), eased);
      if (share < 1) requestAnimationFrame(step);
      else this.flight = null;
      then();
    };
    step();
  }

  placed() {
    const { camera } = this;
    const [, up, towards] = this.axes();
    const reach = 4 * this.diagonal;
    camera.position.set(...plus(this.focal, towards, reach));
    camera.up.set(...up);
    camera.lookAt(...this.focal);
    Object.assign(camera, { left: -this.half * this.aspect, right: this.half * this.aspect });
    Object.assign(camera, { top: this.half, bottom: -this.half, near: 0.01 * reach, far: 2 * reach });
    camera.updateProjectionMatrix();
    return camera;
  }

  // A place [mm] as shares of the picture, from its upper left corner
  shares(place) {
    const [right, up] = this.axes();
    const off = minus(place, this.focal);
    return [0.5 + dot(off, right) / (2 * this.half * this.aspect), 0.5 - dot(off, up) / (2 * this.half)];
  }

  // The straight line behind a point of the picture, given in shares: where it starts and which way it runs
  line(across, down) {
    const [right, up, towards] = this.axes();
    const at = plus(plus(this.focal, right, (across - 0.5) * 2 * this.half * this.aspect), up, (0.5 - down) * 2 * this.half);
    return [plus(at, towards, 4 * this.diagonal), towards.map((v) => -v)];
  }
}

function nearest(angle, to) {
  return angle + 2 * Math.PI * Math.round((to - angle) / (2 * Math.PI));
}

// Mouse and touch: one finger turns, two move and zoom; a press without a move is a click
export function followPointers(canvas, eye, { changed, clicked }) {
  const fingers = new Map();
  let travelled = 0;
  canvas.addEventListener("pointerdown", (event) => {
    canvas.setPointerCapture(event.pointerId);
    fingers.set(event.pointerId, [event.clientX, event.clientY]);
    if (fingers.size === 1) travelled = 0;
  });
  canvas.addEventListener("pointermove", (event) => {
    const before = fingers.get(event.pointerId);
    if (!before) return;
    const now = [event.clientX, event.clientY];
    const [dx, dy] = minus([...now, 0], [...before, 0]);
    travelled += Math.hypot(dx, dy);
    const high = canvas.clientHeight;
    if (fingers.size === 2) {
      const other = [...fingers].find(([id]) => id !== event.pointerId)[1];
      const apart = (p) => Math.hypot(p[0] - other[0], p[1] - other[1]) || 1;
      eye.zoom(apart(now) / apart(before));
      eye.move(dx / 2 / high, -dy / 2 / high);
    } else if (event.shiftKey || event.buttons & 6) eye.move(dx / high, -dy / high);
    else eye.turn((-dx / high) * Math.PI, (dy / high) * Math.PI);
    fingers.set(event.pointerId, now);
    changed();
  });
  const lift = (event) => {
    const own = fingers.delete(event.pointerId);
    if (own && event.type === "pointerup" && fingers.size === 0 && travelled < 5) clicked(event);
  };
  for (const name of ["pointerup", "pointercancel"]) canvas.addEventListener(name, lift);
  canvas.addEventListener("contextmenu", (event) => event.preventDefault());
  canvas.addEventListener(
    "wheel",
    (event) => {
      if (document.activeElement !== canvas && !event.ctrlKey) return; // the page scrolls on
      event.preventDefault();
      eye.zoom(Math.exp(-event.deltaY * 0.0015));
      changed();
    },
    { passive: false },
  );
}

// Keys while the picture has the focus; true where one was ours
export function followKey(event, eye) {
  const arrows = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] }[event.key];
  if (arrows && event.shiftKey) eye.move(arrows[0] * 0.06, arrows[1] * 0.06);
  else if (arrows) eye.turn(arrows[0] * STEP, arrows[1] * STEP);
  else if (event.key === "+" || event.key === "=") eye.zoom(1.2);
  else if (event.key === "-") eye.zoom(1 / 1.2);
  else if (event.key === "0" || event.key === "Home") eye.reset();
  else return false;
  return true;
}
