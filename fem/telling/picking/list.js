// All faces as a list that one moves through with arrows: Space picks, what is under the mark lights up.
import { make } from "../hand/elements.js";

export class FaceList {
  constructor(box, faces, { moved, toggled }) {
    this.box = box;
    this.toggled = toggled;
    this.moved = moved;
    this.at = 0;
    this.rows = faces.map(({ id, what }, i) =>
      make("li", { role: "option", id: `pick-face-${i}`, "aria-selected": "false" }, make("b", {}, String(id)), ` ${what}`),
    );
    box.append(...this.rows);
    this.rows.forEach((row, i) => {
      row.addEventListener("click", () => {
        this.go(i);
        toggled(i);
      });
      row.addEventListener("pointerenter", () => moved(i));
    });
    box.addEventListener("pointerleave", () => moved(null));
    box.addEventListener("focus", () => {
      if (box.matches(":focus-visible")) this.go(this.at); // under a pressed mouse nothing may scroll
    });
    box.addEventListener("blur", () => moved(null));
    box.addEventListener("keydown", (event) => this.key(event));
  }

  key(event) {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const last = this.rows.length - 1;
    const goals = { ArrowDown: this.at + 1, ArrowUp: this.at - 1, Home: 0, End: last, PageDown: this.at + 8, PageUp: this.at - 8 };
    if (event.key in goals) this.go(Math.min(Math.max(goals[event.key], 0), last));
    else if (event.key === " " || event.key === "Enter") this.toggled(this.at);
    else return;
    event.preventDefault();
  }

  go(index) {
    this.rows[this.at].classList.remove("here");
    this.at = index;
    const row = this.rows[index];
    row.classList.add("here");
    this.box.setAttribute("aria-activedescendant", row.id);
    const { offsetTop } = row;
    if (offsetTop < this.box.scrollTop) this.box.scrollTop = offsetTop;
    const over = offsetTop + row.offsetHeight - this.box.clientHeight;
    if (over > this.box.scrollTop) this.box.scrollTop = over;
    this.moved(index);
  }

  show(picked) {
    this.rows.forEach((row, i) => row.setAttribute("aria-selected", String(picked.has(i))));
  }
}
